"""How the bytes of one SEG-Y file are laid out: read from its headers, checked against its size before anything is allocated.

Byte order
    The format code at bytes 3225-3226 decides: a code of 1 to 16 reads as such in one byte order only, so little-endian
    files of revision 0 and 1, which have no mark, are recognised too. Where revision 2 sets the constant at bytes
    3297-3300, it must agree.
Sample interval
    Revision 2: the float64 microseconds at bytes 3273-3280 where they are set. Otherwise the 16-bit field (bytes
    3217-3218, else the first trace's 117-118) read as PICOSECONDS, the usual radar convention: whole microseconds, as the
    standard has it, cannot hold an interval below 1 ns.
Length
    A file that ends inside a trace, or holds fewer traces than its header says, is refused: traces are spread evenly over
    the line, so every missing one would shift all others.
"""

import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Optional, Tuple

import numpy as np

from ...common.errors import SurveyError
from ...common.language import tr
from . import segy_fields as fields
from .line_header import MAX_SAMPLES

_MAX_EXTRA_TEXT_HEADERS = 1000
_END_OF_TEXT = "((SEG: EndText))"


@dataclass(frozen=True)
class Layout:
    """How the bytes of one file are laid out."""

    order: str
    revision: int
    format_code: int
    sample_count: int
    trace_count: int
    first_trace_byte: int
    extra_trace_headers: int
    interval_ns: float
    interval_source: str
    in_feet: bool
    notes: Tuple[str, ...]

    def open_traces(self, path: Path) -> np.ndarray:
        """The traces as a read-only memory-mapped structured array, shape (trace,)."""
        layout = fields.trace_layout(self.order, self.format_code, self.sample_count, self.extra_trace_headers)
        return np.memmap(path, dtype=layout, mode="r", offset=self.first_trace_byte, shape=(self.trace_count,))


def is_segy(path: Path) -> bool:
    """Whether the file looks like SEG-Y from its binary header; never raises."""
    try:
        return _byte_order(_read_binary_header(path)) is not None
    except (OSError, ValueError):
        return False


def _read_binary_header(path: Path) -> bytes:
    """Bytes 3201 to 3600. A pipe or device, on which reading could wait for ever, is refused."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise SurveyError(tr("{name} is not a plain file.", name=path.name))
    with path.open("rb") as file:
        file.seek(fields.TEXT_BYTES)
        raw = file.read(fields.BINARY_BYTES)
    if len(raw) < fields.BINARY_BYTES:
        raise SurveyError(
            tr(
                "{name} is only {size} bytes long; SEG-Y begins with {file_header_bytes} bytes of headers.",
                name=path.name,
                size=path.stat().st_size,
                file_header_bytes=fields.FILE_HEADER_BYTES,
            )
        )
    return raw


def _byte_order(raw: bytes) -> Optional[str]:
    """`>`, `<` or None where the format code is unknown in both."""
    codes = {
        order: int(np.frombuffer(raw, fields.binary_layout(order))["format"][0])
        for order in (fields.BIG, fields.LITTLE)
    }
    known = [order for order, code in codes.items() if code in fields.SAMPLE_FORMATS]
    return known[0] if len(known) == 1 else None


def read_layout(path: Path) -> Layout:
    """The layout of one file. Raises `SurveyError` naming it where it cannot be read as SEG-Y or does not fit its size."""
    try:
        return _parse_layout(path, _read_binary_header(path))
    except OSError as error:
        raise SurveyError(
            tr("{name} cannot be read: {reason}.", name=path.name, reason=error.strerror or error)
        ) from error


def _parse_layout(path: Path, raw: bytes) -> Layout:
    order = _byte_order(raw)
    if raw[96:100] == b"\x02\x01\x04\x03":
        raise SurveyError(
            tr(
                "{name} has its bytes swapped in pairs; export it again as a big- or little-endian file.",
                name=path.name,
            )
        )
    if order is None:
        code = int(np.frombuffer(raw, fields.binary_layout(fields.BIG))["format"][0])
        raise SurveyError(
            tr(
                "{name} is not SEG-Y, or damaged: its sample format code (bytes 3225-3226) is {code}.",
                name=path.name,
                code=code,
            )
        )
    binary = np.frombuffer(raw, fields.binary_layout(order))[0]
    constant = int(binary["byte_order"])
    format_code = int(binary["format"])
    if format_code not in fields.SAMPLE_TYPES:
        raise SurveyError(
            tr(
                "{name} contains samples of format {format_code}, {sample_formats}; export it again as float32 (5), "
                "int16 (3), int32 (2) or IBM float (1).",
                name=path.name,
                format_code=format_code,
                sample_formats=fields.SAMPLE_FORMATS[format_code],
            )
        )
    revision = int(binary["major"])
    if (order, revision, int(binary["minor"])) == (fields.LITTLE, 0, 1):
        revision = 1  # the revision word 0x0100 swapped with all others
    extended = revision >= 2
    if extended and constant not in (0, fields.BYTE_ORDER_CONSTANT):
        raise SurveyError(
            tr(
                "{name} is damaged: its byte-order constant and its sample format contradict each other.",
                name=path.name,
            )
        )
    size = path.stat().st_size
    first = _first_trace_byte(path, binary, revision)
    extra = _extra_trace_headers(path, binary) if extended else 0
    trace_start = _peek_trace_header(path, order, first, size)

    sample_count = int(binary["extended_samples"]) if extended else 0
    if sample_count <= 0:
        sample_count = int(binary["samples"]) or int(trace_start["samples"])
    if sample_count == 0:
        raise SurveyError(
            tr("{name} does not say how many samples a trace has (bytes 3221-3222 are zero).", name=path.name)
        )
    trace_count = _trace_count(path, binary, extended, size - first, sample_count, extra)

    interval_ns, source, notes = _interval(binary, trace_start, extended)
    layout = Layout(
        order, revision, format_code, sample_count, trace_count, first, extra,
        interval_ns, source, int(binary["measurement_system"]) == 2, notes,
    )  # fmt: skip
    _check_trace_lengths(path, layout)
    return layout


def _first_trace_byte(path: Path, binary: np.void, revision: int) -> int:
    stated = int(binary["first_trace_byte"]) if revision >= 2 else 0
    if 0 < stated < fields.FILE_HEADER_BYTES:
        raise SurveyError(
            tr(
                "{name} is damaged: according to its header the first trace begins at byte {stated}, inside the "
                "headers.",
                name=path.name,
                stated=stated,
            )
        )
    if stated:
        return stated
    extra = int(binary["extra_text_headers"]) if revision >= 1 else 0
    if extra == -1:
        extra = _count_text_headers(path)
    if extra < 0:
        raise SurveyError(
            tr(
                "{name} is damaged: it says it has {extra} extended text headers (bytes 3505-3506).",
                name=path.name,
                extra=extra,
            )
        )
    return fields.FILE_HEADER_BYTES + fields.TEXT_BYTES * extra


def _count_text_headers(path: Path) -> int:
    """Extended text headers up to the stanza that ends them; used where the file does not give their number."""
    ends = (_END_OF_TEXT.lower().encode("ascii"), _END_OF_TEXT.lower().encode("cp037"))
    with path.open("rb") as file:
        file.seek(fields.FILE_HEADER_BYTES)
        for count in range(1, _MAX_EXTRA_TEXT_HEADERS + 1):
            block = file.read(fields.TEXT_BYTES)
            lowered = (block.lower(), block.decode("cp037").lower().encode("cp037"))
            if any(end in text for end, text in zip(ends, lowered)):
                return count
    raise SurveyError(
        tr(
            "{name} has extended text headers without the end mark '{end_of_text}'.",
            name=path.name,
            end_of_text=_END_OF_TEXT,
        )
    )


def _extra_trace_headers(path: Path, binary: np.void) -> int:
    """Further 240-byte headers a trace: the field was 32 bits wide in revision 2.0 and is 16 bits since 2.1."""
    extra = int(binary["extra_trace_headers_2_1" if binary["minor"] >= 1 else "extra_trace_headers_2_0"])
    if not 0 <= extra <= 0x7FFF:
        raise SurveyError(
            tr(
                "{name} is damaged: it says it has {extra} additional trace headers (bytes 3507-3510).",
                name=path.name,
                extra=extra,
            )
        )
    return extra


def _peek_trace_header(path: Path, order: str, first: int, size: int) -> np.void:
    if first + fields.TRACE_HEADER_BYTES > size:
        raise SurveyError(
            tr(
                "{name} contains no trace: it ends at byte {size}, but its first trace should begin at byte {first}.",
                name=path.name,
                size=size,
                first=first,
            )
        )
    layout = fields.trace_layout(order, 3, 0)["header"]
    with path.open("rb") as file:
        file.seek(first)
        return np.frombuffer(file.read(fields.TRACE_HEADER_BYTES), layout)[0]


def _trace_count(path: Path, binary: np.void, extended: bool, data_bytes: int, sample_count: int, extra: int) -> int:
    sample_bytes = np.dtype(fields.SAMPLE_TYPES[int(binary["format"])]).itemsize
    trace_bytes = fields.TRACE_HEADER_BYTES * (1 + extra) + sample_bytes * sample_count
    held, rest = divmod(data_bytes, trace_bytes)
    stated = int(binary["traces"]) if extended else 0
    trailers = extended and int(binary["trailers"]) != 0
    if stated > held:
        raise SurveyError(
            tr(
                "{name} is truncated: its header states {stated} traces, but only {held} are complete.",
                name=path.name,
                stated=stated,
                held=held,
            )
        )
    beyond = data_bytes - stated * trace_bytes
    if stated and beyond and not trailers:
        raise SurveyError(
            tr(
                "{name} is damaged: {beyond} bytes follow the {stated} traces that its header states.",
                name=path.name,
                beyond=beyond,
                stated=stated,
            )
        )
    if not stated and rest:
        raise SurveyError(
            tr(
                "{name} is truncated or its sample count is wrong: after {held} complete traces of {sample_count} "
                "samples, {rest} bytes remain.",
                name=path.name,
                held=held,
                sample_count=sample_count,
                rest=rest,
            )
        )
    count = stated or held
    if count * sample_count > MAX_SAMPLES:
        raise SurveyError(
            tr(
                "{name} is too large: {count} traces of {sample_count} samples; a line may have at most "
                "{max_samples} samples.",
                name=path.name,
                count=count,
                sample_count=sample_count,
                max_samples=MAX_SAMPLES,
            )
        )
    return count


def _interval(binary: np.void, trace_header: np.void, extended: bool) -> Tuple[float, str, Tuple[str, ...]]:
    """Sample interval in ns (0 where no field is set), where it came from, and notes."""
    if extended:
        microseconds = float(binary["extended_interval_us"])
        if np.isfinite(microseconds) and microseconds > 0.0:
            return microseconds * 1000.0, tr("bytes 3273-3280 (microseconds)"), ()
    in_file, in_trace = int(binary["interval"]), int(trace_header["interval"])
    if in_file == 0:
        return in_trace / 1000.0, tr("bytes 117-118 of the first trace, read as picoseconds"), ()
    notes = ()
    if in_trace not in (0, in_file):
        notes = (
            tr(
                "The sample interval is {in_file} in its file header and {in_trace} in its traces; the file "
                "header is used.",
                in_file=in_file,
                in_trace=in_trace,
            ),
        )
    return in_file / 1000.0, tr("bytes 3217-3218, read as picoseconds"), notes


def _check_trace_lengths(path: Path, layout: Layout) -> None:
    """Refuse traces of unequal length: read as equal ones they would be noise.

    One number in all traces that differs from the file header's is harmless, since the file's size fits the latter.
    """
    lengths = layout.open_traces(path)["header"]["samples"]
    lengths = lengths[lengths != 0]
    if len(lengths) and np.any(lengths != lengths[0]):
        other = int(lengths[lengths != lengths[0]][0])
        raise SurveyError(
            tr(
                "{name} contains traces of {length} and of {other} samples, or is damaged; all traces of a line must "
                "have the same length.",
                name=path.name,
                length=int(lengths[0]),
                other=other,
            )
        )
