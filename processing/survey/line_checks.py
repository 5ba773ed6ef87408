"""Whether a line's file fits its row in the table and the radar it was recorded with."""

from typing import Iterable, List, Optional, Tuple

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr
from .formats.line_header import LineHeader
from .model import ScanArea, ScanLine

# A wave speed for judging only, middle of dry and wet concrete (common practice, no source); wave speed itself is estimated.
_TYPICAL_SPEED_M_NS = 0.1
_MAX_WINDOW_NS = 1000.0
_SPACING_LIMITS_M = (0.0001, 0.25)
# Header positions may leave the nominal ends by a hand's breadth and by the slip of a measuring wheel.
_END_TOLERANCE_M = 0.1
_END_TOLERANCE_SHARE = 0.05


def check_sampling(file: str, header: LineHeader, area: ScanArea) -> None:
    """Raise `SurveyError` where no radar of the area's centre frequency can have recorded with this sample interval.

    Half a period is the longest interval that still holds the wave (sampling theorem); a window of less than two
    periods holds no echo, and one of more than 1000 ns looks 50 m deep.
    """
    period_ns = 1.0 / area.centre_frequency_ghz
    frequency = f"{area.centre_frequency_mhz:g} MHz"
    interval_ns = header.sample_interval_ns
    window_ns = interval_ns * header.sample_count
    window = tr(
        "{sample_count} samples then last {window_ns:.3g} ns", sample_count=header.sample_count, window_ns=window_ns
    )
    if interval_ns > 0.5 * period_ns:
        reason = tr(
            "longer than half a period at {frequency}, {period_ns:.3g} ns",
            frequency=frequency,
            period_ns=0.5 * period_ns,
        )
    elif window_ns < 2.0 * period_ns:
        reason = tr("{window}, less than two periods at {frequency}", window=window, frequency=frequency)
    elif window_ns > _MAX_WINDOW_NS:
        reason = tr("{window}, more than {max_window_ns:g} ns", window=window, max_window_ns=_MAX_WINDOW_NS)
    else:
        return
    raise SurveyError(
        tr(
            "{file}: a sample interval of {interval_ns:g} ns was read from {interval_source}, which is not plausible "
            "for radar ({reason}); set the correct one in ns in the parameter 'Sample interval', which overrides the "
            "file.",
            file=file,
            interval_ns=interval_ns,
            interval_source=header.interval_source,
            reason=reason,
        )
    )


def check_spacing(file: str, line: ScanLine, area: ScanArea) -> List[str]:
    """Warnings on the spacing of traces; raises `SurveyError` where the trace count cannot fit the line."""
    if line.trace_count < 2:
        raise SurveyError(
            tr("{file} has {trace_count} trace; a line needs at least two.", file=file, trace_count=line.trace_count)
        )
    spacing_m = line.length_m / (line.trace_count - 1)
    low, high = _SPACING_LIMITS_M
    if not low <= spacing_m <= high:
        raise SurveyError(
            tr(
                "{file} has {trace_count} traces for a line of {length_m:g} m, one every {spacing:.3g} mm; check the "
                "file, and the start and end in the table (metres).",
                file=file,
                trace_count=line.trace_count,
                length_m=line.length_m,
                spacing=spacing_m * 1000,
            )
        )
    half_wavelength_m = 0.5 * _TYPICAL_SPEED_M_NS / area.centre_frequency_ghz
    if spacing_m > half_wavelength_m:
        return [
            tr(
                "its traces are {spacing:.3g} mm apart, more than half a wavelength ({half_wavelength:.3g} mm): "
                "images will be poor.",
                spacing=spacing_m * 1000,
                half_wavelength=half_wavelength_m * 1000,
            )
        ]
    return []


def choose_positions(
    positions_m: Optional[np.ndarray], start_m: Tuple[float, float], end_m: Tuple[float, float]
) -> Tuple[Optional[np.ndarray], List[str]]:
    """Trace positions of the file, shape (trace, 2), if they are in the area's local grid, else None; and warnings.

    They are taken as local when the first and last lie within 0.1 m plus 5 % of the line's length of the table's start
    and end, and no trace lies behind the one before it. Otherwise traces are spread evenly from start to end.
    """
    if positions_m is None:
        return None, []
    direction = np.subtract(end_m, start_m)
    length_m = float(np.hypot(*direction))
    tolerance_m = _END_TOLERANCE_M + _END_TOLERANCE_SHARE * length_m
    off_m = [float(np.hypot(*(positions_m[at] - point))) for at, point in ((0, start_m), (-1, end_m))]
    if max(off_m) > tolerance_m:
        turned_m = [float(np.hypot(*(positions_m[at] - point))) for at, point in ((-1, start_m), (0, end_m))]
        hint = (
            tr("; they run from the table's end to its start: check the direction")
            if max(turned_m) <= tolerance_m
            else ""
        )
        return None, [
            tr(
                "the trace positions in the file begin {start:.4g} m from the table's start and end {end:.4g} m from "
                "its end; they are not used, and traces are spaced evenly between the table's start and end{hint}.",
                start=off_m[0],
                end=off_m[1],
                hint=hint,
            )
        ]
    steps = np.diff(positions_m @ (direction / length_m))
    if np.any(steps < -1e-9):
        trace = int(np.argmax(steps < -1e-9)) + 2
        return None, [
            tr(
                "the trace positions in the file go backwards at trace {trace}; they are not used, and traces are "
                "spaced evenly between the table's start and end.",
                trace=trace,
            )
        ]
    return positions_m, []


def compare_lines(lines: Iterable[ScanLine]) -> List[Tuple[str, str]]:
    """Line names and warnings where lines of one area do not fit together: both dipole axes of a pass, and all sampling."""
    warnings = []
    passes = {}
    first = None
    for line in lines:
        first = first or line
        same_interval = np.isclose(line.sample_interval_ns, first.sample_interval_ns, rtol=1e-9)
        if not same_interval or line.sample_count != first.sample_count:
            warnings.append(
                (
                    line.name,
                    tr(
                        "it has {sample_count} samples of {sample_interval_ns:g} ns, but line {name} has "
                        "{other_count} of {other_interval_ns:g} ns.",
                        sample_count=line.sample_count,
                        sample_interval_ns=line.sample_interval_ns,
                        name=first.name,
                        other_count=first.sample_count,
                        other_interval_ns=first.sample_interval_ns,
                    ),
                )
            )
        other = passes.setdefault(line.line_id, line)
        if line.trace_count != other.trace_count:
            warnings.append(
                (
                    line.name,
                    tr(
                        "it has {trace_count} traces, but {name}, the same pass, has {other_count}.",
                        trace_count=line.trace_count,
                        name=other.name,
                        other_count=other.trace_count,
                    ),
                )
            )
        if (line.start_m, line.end_m) != (other.start_m, other.end_m):
            warnings.append(
                (line.name, tr("its start or end differs from that of {name}, the same pass.", name=other.name))
            )
    return warnings
