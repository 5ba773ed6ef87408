"""The lines of a scan area planned from a grid, and the files that belong to them.

Whoever scans a grid knows its size, the spacing of its lines and the order in which they were walked; the radar knows only a
row of numbered files. Both together give the rows of scan_lines.csv.
"""

import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Dict, FrozenSet, Iterable, List, Optional, Sequence, Tuple

from ..common.errors import SurveyError
from ..common.language import tr
from . import tables
from .formats.registry import FORMATS, read_header
from .line_checks import check_sampling, check_spacing, choose_positions
from .model import DIPOLE_AXES, ScanArea, ScanLine

LINE_BY_LINE, AXIS_BY_AXIS = "line by line", "axis by axis"
ORDERS = (LINE_BY_LINE, AXIS_BY_AXIS)
MOST_LINES = 2000
_SLACK_M = 1e-6
_MICROMETRE = 6  # digits of metres that are kept: sums of spacings carry no dust of binary fractions


# A form shows words, not names of columns.
LABELS = {
    "area_id": tr("Area id"),
    "level": tr("Level"),
    "surface": tr("Surface"),
    "antenna_separation_m": tr("Antenna separation"),
    "centre_frequency_mhz": tr("Centre frequency"),
}


@dataclass(frozen=True)
class LineSet:
    """The parallel lines of one direction.

    Attributes
    ----------
    direction : str
        ``x``: the lines run along local x, side by side in y; ``y`` the other way round.
    spacing_m, first_offset_m : float
        Between neighbouring lines; from the grid's origin to the first one, metres.
    dipole_axes : tuple of str
        One file for each line and axis.
    alternating : bool
        Is every second line walked back?
    turned : frozenset of int
        Numbers (from 1) of lines that were walked the other way than that.
    count : int or None
        How many lines; None: as many as the grid holds.
    """

    direction: str
    spacing_m: float
    first_offset_m: float = 0.0
    dipole_axes: Tuple[str, ...] = ("across",)
    alternating: bool = False
    turned: FrozenSet[int] = frozenset()
    count: Optional[int] = None


@dataclass(frozen=True)
class GridPlan:
    """A scan area that is to be set up: the cells of its row in scan_areas.csv, its size and its lines."""

    area: ScanArea
    size_m: Tuple[float, float]
    sets: Tuple[LineSet, ...]
    order: str = LINE_BY_LINE


@dataclass(frozen=True)
class PlannedLine:
    """One file to be: a line and a dipole axis; `number` counts the lines of its direction from 1."""

    line_id: str
    direction: str
    number: int
    dipole_axis: str
    start_m: Tuple[float, float]
    end_m: Tuple[float, float]
    file: Optional[Path] = None

    @property
    def length_m(self) -> float:
        return abs(self.end_m[0] - self.start_m[0]) + abs(self.end_m[1] - self.start_m[1])


@dataclass(frozen=True)
class FileCheck:
    """What a line's file says: `problem` where it cannot be used, `warnings` where it needs a look."""

    line: PlannedLine
    trace_count: int = 0
    sample_count: int = 0
    sample_interval_ns: float = 0.0
    spacing_m: float = 0.0
    problem: str = ""
    warnings: Tuple[str, ...] = field(default=())


def check_plan(plan: GridPlan) -> List[str]:
    """Sentences on what of a plan cannot be used; empty where all can."""
    area = plan.area
    said = []
    for name, kind in tables.AREA_COLUMNS.items():
        value, label = getattr(area, name), LABELS.get(name, name)
        if str(value).strip():
            said += tables.cell_problems(label, value, kind)
        else:
            said.append(tr("{label} is missing; fill it in.", label=label))
    if not all(0.0 < side <= 1000.0 for side in plan.size_m):
        said.append(tr("Both sides of the grid must be longer than 0 m and no longer than 1000 m."))
    if not plan.sets:
        said.append(tr("Neither direction has lines."))
    return said + [sentence for lines in plan.sets for sentence in _check_set(plan, lines)]


def _check_set(plan: GridPlan, lines: LineSet) -> List[str]:
    along = lines.direction
    if not lines.dipole_axes or not set(lines.dipole_axes) <= set(DIPOLE_AXES):
        return [tr("The lines along {direction} have no dipole axis.", direction=along)]
    if not lines.spacing_m > 0.0:
        return [tr("The spacing of the lines along {direction} must be above zero.", direction=along)]
    width, count = plan.size_m[1 if along == "x" else 0], line_count(plan, lines)
    if not 0 < count <= MOST_LINES:
        text = tr("The grid has {count} lines along {direction}; it needs at least one and may have at most {most}.")
        return [text.format(count=count, direction=along, most=MOST_LINES)]
    if lines.first_offset_m < 0.0 or lines.first_offset_m + (count - 1) * lines.spacing_m > width + _SLACK_M:
        text = tr("{count} lines along {direction}, the first at {first} m, do not fit into {width} m.")
        return [text.format(count=count, direction=along, first=f"{lines.first_offset_m:g}", width=f"{width:g}")]
    return []


def line_count(plan: GridPlan, lines: LineSet) -> int:
    """How many lines a set has: as many as were given, or as the grid holds from the first to its far side."""
    if lines.count is not None:
        return lines.count
    width = plan.size_m[1 if lines.direction == "x" else 0]
    return max(0, int((width - lines.first_offset_m + _SLACK_M) / lines.spacing_m) + 1)


def plan_lines(plan: GridPlan) -> List[PlannedLine]:
    """All lines in the order in which they were walked, without files. Raises `SurveyError` for a plan that cannot be."""
    problems = check_plan(plan)
    if problems:
        raise SurveyError(problems[0])
    planned = []
    for lines in plan.sets:
        single = [_planned(plan, lines, number) for number in range(1, line_count(plan, lines) + 1)]
        if plan.order == LINE_BY_LINE:
            planned += [replace(line, dipole_axis=axis) for line in single for axis in lines.dipole_axes]
        else:
            planned += [replace(line, dipole_axis=axis) for axis in lines.dipole_axes for line in single]
    return planned


def _planned(plan: GridPlan, lines: LineSet, number: int) -> PlannedLine:
    offset = round(lines.first_offset_m + (number - 1) * lines.spacing_m, _MICROMETRE)
    along = 0 if lines.direction == "x" else 1
    start, end = [0.0, offset][:: 1 - 2 * along], [plan.size_m[along], offset][:: 1 - 2 * along]
    if (lines.alternating and number % 2 == 0) != (number in lines.turned):
        start, end = end, start
    return PlannedLine(
        f"{lines.direction}{number:02d}", lines.direction, number, "", tuple(map(float, start)), tuple(map(float, end))
    )


def line_files_in(folder) -> List[Path]:
    """Files of a folder whose names say that they hold a line, in natural order: line2 before line10.

    Raises `SurveyError` where the folder cannot be read.
    """
    suffixes = {suffix for entry in FORMATS for suffix in entry.suffixes}
    own_tables = {tables.AREAS_FILE, tables.LINES_FILE, tables.CONTROL_POINTS_FILE, tables.KNOWN_DEPTHS_FILE}
    try:
        found = [
            path
            for path in Path(folder).iterdir()
            if path.suffix.lower() in suffixes and path.is_file() and path.name.lower() not in own_tables
        ]
    except OSError as error:
        raise SurveyError(
            tr("The folder {folder} cannot be read: {reason}.", folder=folder, reason=error.strerror or error)
        ) from error
    return sorted(found, key=natural_key)


def natural_key(path: Path) -> Tuple:
    """Sorts numbers within names by their value."""
    parts = re.split(r"(\d+)", path.name.lower())
    return tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts), path.name


def assign_files(lines: Sequence[PlannedLine], files: Sequence[Path]) -> List[PlannedLine]:
    """The lines with the files in the same order; where there are fewer files, the last lines stay without one."""
    return [replace(line, file=Path(file)) for line, file in zip(lines, files)] + list(lines[len(files) :])


def count_sentence(lines: Sequence[PlannedLine], files: Sequence[Path]) -> str:
    """What to do where lines and files are not equally many; empty where they are."""
    if len(lines) == len(files):
        return ""
    text = tr("The grid has {lines} lines (counting each dipole axis), but there are {files} files: ")
    more = tr("correct the grid, or choose fewer files.")
    fewer = tr("correct the grid, or add the files that are missing; lines without a file are left out.")
    return text.format(lines=len(lines), files=len(files)) + (more if len(files) > len(lines) else fewer)


def check_file(area: ScanArea, line: PlannedLine) -> FileCheck:
    """Looks at the header of a line's file and at whether it fits the line; never raises a `SurveyError`."""
    if line.file is None:
        return FileCheck(line, problem=tr("No file."))
    try:
        header = read_header(line.file)
        found = FileCheck(line, header.trace_count, header.sample_count, header.sample_interval_ns)
    except SurveyError as error:
        return FileCheck(line, problem=str(error))
    if header.trace_count > 1:
        found = replace(found, spacing_m=line.length_m / (header.trace_count - 1))
    try:
        check_sampling(line.file.name, header, area)
        _, warnings = choose_positions(header.positions_m, line.start_m, line.end_m)
        known = ScanLine(
            area.area_id,
            line.line_id,
            line.dipole_axis,
            line.file,
            line.start_m,
            line.end_m,
            header.trace_count,
            header.sample_count,
            header.sample_interval_ns,
        )
        warnings = [*header.notes, *check_spacing(line.file.name, known, area), *warnings]
    except SurveyError as error:
        return replace(found, problem=str(error))
    return replace(found, warnings=tuple(warnings))


def check_together(checks: Iterable[FileCheck]) -> Dict[int, str]:
    """Position in `checks` to a sentence, where a file's samples or trace spacing are not those of most others."""
    checks = list(checks)
    usable = [one for one in checks if not one.problem]
    if not usable:
        return {}
    sampling = _most_common([(one.sample_count, one.sample_interval_ns) for one in usable])
    spacing = sorted(one.spacing_m for one in usable)[len(usable) // 2]
    said = {}
    for position, one in enumerate(checks):
        if one.problem:
            continue
        if (one.sample_count, one.sample_interval_ns) != sampling:
            said[position] = tr(
                "Its settings differ from those of most files: the number of samples or the sample interval."
            )
        elif abs(one.spacing_m - spacing) > 0.05 * spacing:
            text = tr(
                "Its traces would be {spacing} mm apart, those of most files {usual} mm: is the line as long "
                "as the grid?"
            )
            said[position] = text.format(spacing=f"{1000 * one.spacing_m:.2f}", usual=f"{1000 * spacing:.2f}")
    return said


def _most_common(values: List) -> object:
    return max(values, key=values.count)
