"""Writing the tables of a survey folder: a new survey, or a further scan area in one that is there.

Rows are only ever added. Cells, columns and files that are there stay as they are; line files are copied into the folder
where they lie elsewhere. All is written under temporary names and moved into place together, or not at all.
"""

import csv
import io
import math
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

from ..common.errors import ProcessingError, SurveyError
from ..common.language import tr
from ..common.monitor import Monitor
from ..survey import tables
from ..survey.grid_plan import PlannedLine
from ..survey.model import ControlPoint, ScanArea
from .publish import publish, staging_folder

AREA_NAMES = (*tables.AREA_COLUMNS, *tables.AREA_OPTIONAL)
LINE_FOLDER = "lines"
_COPY_BYTES = 2**20


@dataclass(frozen=True)
class Added:
    """What was written: numbers of rows, and how many files were copied into the survey folder."""

    lines: int
    control_points: int
    copied: int


def add_area(
    folder,
    area: ScanArea,
    lines: Sequence[PlannedLine],
    control_points: Sequence[ControlPoint] = (),
    monitor: Monitor = Monitor(),
) -> Added:
    """Adds a scan area, its lines (those that have a file) and control points to the survey in `folder`, made if need be.

    Raises `SurveyError` (the area is in the tables already, a table cannot be read, a value cannot stand there),
    `ProcessingError` (nothing can be written), `Cancelled`. The folder is then as it was.
    """
    folder = Path(folder)
    lines = [line for line in lines if line.file is not None]
    if not lines:
        raise SurveyError(tr("Area {area} has no line with a file, so there is nothing to write.", area=area.area_id))
    _check_new_area(folder, area)
    with staging_folder(folder) as staging:
        names, copied = _bring_files(folder, staging, area, lines, monitor)
        _append(folder, staging, tables.AREAS_FILE, AREA_NAMES, [_area_cells(area)])
        _append(folder, staging, tables.LINES_FILE, tuple(tables.LINE_COLUMNS), _line_cells(area, lines, names))
        if control_points or not (folder / tables.CONTROL_POINTS_FILE).is_file():
            _append_control_points(folder, staging, control_points)
        monitor.step(0.99)
        publish(staging, folder)
    return Added(len(lines), len(control_points), copied)


def known_area_ids(folder) -> List[str]:
    """Ids of the areas that a survey folder has; empty where there is no survey yet. Raises `SurveyError`."""
    return [row["area_id"] for row in _rows(Path(folder), tables.AREAS_FILE)]


def _check_new_area(folder: Path, area: ScanArea) -> None:
    if area.area_id.lower() in {name.lower() for name in known_area_ids(folder)}:
        text = tr("Area {area} is already in {file}; give the new one another id.")
        raise SurveyError(text.format(area=area.area_id, file=tables.AREAS_FILE))
    _check_cells(tables.AREA_COLUMNS, {name: getattr(area, name) for name in tables.AREA_COLUMNS}, area.area_id)


def _check_cells(columns: tables.Columns, row: Mapping, name: str) -> None:
    """Raises `SurveyError` for the first value of a row that a column would refuse."""
    for column, kind in columns.items():
        problems = tables.cell_problems(column, row[column], kind)
        if problems:
            raise SurveyError(f"{name}: {problems[0]}")


def _append_control_points(folder: Path, staging: Path, points: Sequence[ControlPoint]) -> None:
    taken = {(row["area_id"], row["point_id"]) for row in _rows(folder, tables.CONTROL_POINTS_FILE)}
    cells = []
    for point in points:
        if (point.area_id, point.point_id) in taken:
            text = tr("Point {point} of area {area} is already in {file}; give the new one another id.")
            raise SurveyError(text.format(point=point.point_id, area=point.area_id, file=tables.CONTROL_POINTS_FILE))
        taken.add((point.area_id, point.point_id))
        values = (point.area_id, point.point_id, *point.local_m, *point.site_m, point.sigma_m)
        row = dict(zip(tables.CONTROL_POINT_COLUMNS, values))
        _check_cells(tables.CONTROL_POINT_COLUMNS, row, point.point_id)
        if point.local_sigma_m:
            row["local_sigma_m"] = point.local_sigma_m
        cells.append(row)
    names = tuple(tables.CONTROL_POINT_COLUMNS)
    if any("local_sigma_m" in row for row in cells):
        names += ("local_sigma_m",)
    _append(folder, staging, tables.CONTROL_POINTS_FILE, names, cells)


def _area_cells(area: ScanArea) -> Dict[str, object]:
    return {**{name: getattr(area, name) for name in AREA_NAMES}, **area.extra}


def _line_cells(area: ScanArea, lines: Sequence[PlannedLine], names: Sequence[str]) -> List[Dict[str, object]]:
    rows = []
    for line, name in zip(lines, names):
        values = (area.area_id, line.line_id, name, line.dipole_axis, *line.start_m, *line.end_m)
        rows.append(dict(zip(tables.LINE_COLUMNS, values)))
        _check_cells(tables.LINE_COLUMNS, rows[-1], line.line_id)
    return rows


def _bring_files(
    folder: Path, staging: Path, area: ScanArea, lines: Sequence[PlannedLine], monitor: Monitor
) -> Tuple[List[str], int]:
    """Names of the lines' files within the survey folder; those that lie elsewhere are copied to lines/<area>/."""
    root = folder.resolve()
    names, copied = [], 0
    for number, line in enumerate(lines):
        monitor.step(0.95 * number / len(lines))
        source = Path(line.file).resolve()
        if root in source.parents:
            names.append(source.relative_to(root).as_posix())
            continue
        name = Path(LINE_FOLDER) / area.area_id / source.name
        if (folder / name).exists() or (staging / name).exists():
            text = tr("{file} is already in the survey folder; give the file of line {line} another name.")
            raise SurveyError(text.format(file=name.as_posix(), line=line.line_id))
        try:
            (staging / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, staging / name)
        except OSError as error:
            raise ProcessingError(
                tr("{file} cannot be copied: {reason}.", file=source, reason=error.strerror or error)
            ) from error
        names.append(name.as_posix())
        copied += 1
    return names, copied


def _rows(folder: Path, file: str) -> List[Mapping[str, str]]:
    """The rows of a table by column name, as text; empty where there is no table."""
    if not (folder / file).is_file():
        return []
    names, rows, _, _ = tables.read_cells(folder / file)
    return [dict(zip(names, (cell.strip() for cell in row))) for row in rows[1:]]


def _append(folder: Path, staging: Path, file: str, names: Sequence[str], added: Sequence[Mapping]) -> None:
    """Writes the table `file` with rows added into `staging`: first all cells that are there, as they are."""
    columns, rows, separator, has_mark = list(names), [list(names)], ",", False
    if (folder / file).is_file():
        columns, rows, separator, has_mark = tables.read_cells(folder / file)
    wanted = [*names, *(name for row in added for name in row)]
    missing = [name for name in dict.fromkeys(wanted) if name not in columns]
    required = [name for name in missing if name in names and name not in _OPTIONAL]
    if required:
        raise SurveyError(
            tr("{file} lacks the column {column}; correct the table first.", file=file, column=required[0])
        )
    # A column that nothing is said of need not be added to a table that does without.
    missing = [name for name in missing if any(_text(row.get(name)) for row in added)]
    if missing:
        width = len(columns)
        columns = [*columns, *missing]
        rows = [[*row[:width], *[""] * (width - len(row)), *extra] for row, extra in zip(rows, _extra(rows, missing))]
    rows = rows + [[_text(row.get(name)) for name in columns] for row in added]
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\r\n").writerows(rows)
    (staging / file).write_bytes(text.getvalue().encode("utf-8-sig" if has_mark else "utf-8"))


_OPTIONAL = (*tables.AREA_OPTIONAL, *tables.WALL_COLUMN, *tables.CONTROL_POINT_OPTIONAL)


def _extra(rows: Sequence, missing: Sequence[str]) -> List[List[str]]:
    """What a new column holds in the rows that are there: its name in the header, nothing below it."""
    return [list(missing), *([""] * len(missing) for _ in rows[1:])]


def _text(value: Optional[object]) -> str:
    """A cell; numbers in the shortest form that reads back as the same number."""
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and math.fabs(value) < 1e9 else repr(value)
    return str(value)
