"""SEG-Y files of one line: reading (memory-mapped) and writing.

Read are revisions 0, 1 and 2.x with samples of format 1 (IBM float), 2 (int32), 3 (int16) and 5 (float32), all traces of
one length; any other format is refused by name. `segy_layout` says how byte order and sample interval are told,
`segy_positions` when coordinates in trace headers are used.
"""

from pathlib import Path
from typing import Optional

import numpy as np

from ...common.errors import SurveyError
from ...common.language import tr
from . import segy_fields as fields
from .line_header import LineHeader
from .segy_layout import read_layout
from .segy_positions import header_positions

_BLOCK_SAMPLES = 2**20


def read_header(path: Path, sample_interval_ns: Optional[float] = None) -> LineHeader:
    """What the file says about its line; a given `sample_interval_ns` replaces the file's own.

    Raises `SurveyError` naming the file when it cannot be read as SEG-Y.
    """
    layout = read_layout(path)
    interval, source = layout.interval_ns, layout.interval_source
    if sample_interval_ns is not None:
        interval, source = sample_interval_ns, tr("the parameter 'Sample interval'")
    if not interval > 0.0:
        raise SurveyError(
            tr(
                "{name} states no sample interval (bytes 3217 and 3273 are empty); specify the sample interval.",
                name=path.name,
            )
        )
    positions, notes = header_positions(layout.open_traces(path)["header"], layout.revision, layout.in_feet)
    return LineHeader(layout.trace_count, layout.sample_count, interval, source, positions, layout.notes + notes)


def read_traces(path: Path) -> np.ndarray:
    """All samples as float32, shape (trace, sample). 32-bit integers above 2**24 lose their last digits.

    Raises `SurveyError` naming the file when it cannot be read as SEG-Y.
    """
    layout = read_layout(path)
    samples = layout.open_traces(path)["samples"]
    traces = np.empty(samples.shape, dtype=np.float32)
    block = max(1, _BLOCK_SAMPLES // layout.sample_count)
    for start in range(0, len(samples), block):
        part = samples[start : start + block]
        if layout.format_code == fields.IBM_FLOAT:
            with np.errstate(over="ignore"):  # beyond float32 becomes infinite, which the quality check names
                traces[start : start + block] = fields.decode_ibm(part)
        else:
            traces[start : start + block] = part
    return traces


def write_segy(
    path: Path,
    traces: np.ndarray,
    sample_interval_ns: float,
    *,
    revision: int = 2,
    sample_format: str = "float32",
    positions_m: Optional[np.ndarray] = None,
    little_endian: bool = False,
    text_header: str = "",
) -> None:
    """Write one line as SEG-Y, first to a temporary name.

    Parameters
    ----------
    traces : ndarray
        Finite amplitudes, shape (trace, sample). Integer formats round to the nearest whole number.
    sample_interval_ns : float
        In ns. The 16-bit fields hold whole picoseconds, and revision 2 the exact interval in microseconds beside them.
    revision : {0, 1, 2}
    sample_format : {'float32', 'int16', 'int32', 'ibm'}
    positions_m : ndarray, optional
        x, y of each trace, metres, shape (trace, 2); written to 0.1 mm as source, group and (revision 1 on) CDP coordinates.
    text_header : str
        Lines for the text header, at most 38 of 76 characters, stored as EBCDIC.

    Raises
    ------
    SurveyError
        What is given does not fit into the format.
    """
    path = Path(path)
    traces = np.asarray(traces)
    order = fields.LITTLE if little_endian else fields.BIG
    code = fields.FORMAT_CODES[sample_format]
    _check_writable(path.name, traces, sample_interval_ns, revision, code)
    trace_count, sample_count = traces.shape
    picoseconds = round(sample_interval_ns * 1000.0)
    short_interval = picoseconds if picoseconds <= 0xFFFF else 0
    short_samples = sample_count if sample_count <= 0xFFFF else 0

    binary = np.zeros((), dtype=fields.binary_layout(order))
    for name, value in {
        "line_number": 1, "traces_per_ensemble": 1, "interval": short_interval, "samples": short_samples,
        "format": code, "sorting": 1, "measurement_system": 1, "major": revision,
    }.items():  # fmt: skip
        binary[name] = value
    if revision >= 1:
        binary["fixed_length"] = 1
    if revision >= 2:
        binary["extended_samples"] = sample_count
        binary["extended_interval_us"] = sample_interval_ns / 1000.0
        binary["byte_order"] = fields.BYTE_ORDER_CONSTANT
        binary["traces"] = trace_count
        binary["first_trace_byte"] = fields.FILE_HEADER_BYTES

    records = np.zeros(trace_count, dtype=fields.trace_layout(order, code, sample_count))
    header = records["header"]
    number = np.arange(1, trace_count + 1)
    for name in ("sequence_in_line", "sequence_in_file", "trace_in_record", "cdp"):
        header[name] = number
    for name, value in {
        "field_record": 1, "trace_in_cdp": 1, "kind": 1, "coordinate_units": 1, "coordinate_scalar": -10000,
        "samples": short_samples, "interval": short_interval,
    }.items():  # fmt: skip
        header[name] = value
    if positions_m is not None:
        tenths_mm = np.rint(np.asarray(positions_m, dtype=float) * 10000.0)
        if tenths_mm.shape != (trace_count, 2) or not np.all(np.abs(tenths_mm) < 2**31):
            raise SurveyError(
                tr("{name}: positions must be finite, within 214 km, and one pair per trace.", name=path.name)
            )
        for name in ("source", "group") if revision == 0 else ("source", "group", "cdp"):
            header[f"{name}_x"], header[f"{name}_y"] = tenths_mm.T
    records["samples"] = _encode(traces, code)

    temporary = path.with_name(path.name + ".part")
    try:
        with temporary.open("wb") as file:
            file.write(_text_block(text_header, revision))
            file.write(binary.tobytes())
            records.tofile(file)
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def _check_writable(name: str, traces: np.ndarray, interval_ns: float, revision: int, code: int) -> None:
    if traces.ndim != 2 or 0 in traces.shape:
        raise SurveyError(
            tr(
                "{name}: traces must be an array of (trace, sample), not of shape {shape}.",
                name=name,
                shape=traces.shape,
            )
        )
    if not np.all(np.isfinite(traces)):
        raise SurveyError(tr("{name}: the traces contain values that are not finite numbers.", name=name))
    if not (np.isfinite(interval_ns) and interval_ns > 0.0):
        raise SurveyError(
            tr("{name}: the sample interval must be above zero, not {interval_ns}.", name=name, interval_ns=interval_ns)
        )
    picoseconds = round(interval_ns * 1000.0)
    if revision < 2 and not (1 <= picoseconds <= 0xFFFF and abs(interval_ns * 1000.0 - picoseconds) < 1e-6):
        raise SurveyError(
            tr(
                "{name}: revision {revision} stores whole picoseconds up to 65535, not {interval_ns} ns; write "
                "revision 2.",
                name=name,
                revision=revision,
                interval_ns=interval_ns,
            )
        )
    if revision < 2 and traces.shape[1] > 0xFFFF:
        raise SurveyError(
            tr(
                "{name}: revision {revision} allows at most 65535 samples per trace; write revision 2.",
                name=name,
                revision=revision,
            )
        )
    low, high = fields.SAMPLE_LIMITS[code]
    if not (round(float(traces.min())) >= low and round(float(traces.max())) <= high):
        raise SurveyError(
            tr(
                "{name}: values from {smallest} to {largest} do not fit into this sample format.",
                name=name,
                smallest=traces.min(),
                largest=traces.max(),
            )
        )


def _encode(traces: np.ndarray, code: int) -> np.ndarray:
    if code == fields.IBM_FLOAT:
        return fields.encode_ibm(traces)
    return np.rint(traces) if code in (2, 3) else traces


def _text_block(text: str, revision: int) -> bytes:
    """The 40 lines of 80 characters; the standard wants the last two from revision 1 on."""
    lines = [line[:76] for line in text.splitlines()]
    if len(lines) > 38:
        raise SurveyError(tr("The text header may have 38 lines, not {count}.", count=len(lines)))
    lines += [""] * (38 - len(lines))
    lines += [f"SEG Y REV{revision}", "END TEXTUAL HEADER"] if revision else ["", ""]
    cards = "".join(f"C{number:2d} {line}".ljust(80) for number, line in enumerate(lines, start=1))
    return cards.encode("cp037", errors="replace")
