"""The CSV tables of a survey folder, read row by row.

UTF-8 with or without byte-order mark; separator comma or semicolon, whichever the header row holds more of; with
semicolons a decimal comma is read too. Fields may be quoted. Column names are read without regard to case and order;
columns that are not known are kept in `extra`. A row that cannot be used becomes a finding and is left out.
"""

import codecs
import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Callable, Dict, List, NamedTuple, Optional, Tuple, Union

from ..common.errors import SurveyError, short
from ..common.language import tr, trn
from ..common.vocabulary.surfaces import SURFACES, is_elevation
from .model import DIPOLE_AXES, ControlPoint, Finding, ScanArea

AREAS_FILE = "scan_areas.csv"
LINES_FILE = "scan_lines.csv"
CONTROL_POINTS_FILE = "control_points.csv"
KNOWN_DEPTHS_FILE = "known_depths.csv"

MAX_BYTES = 2**25
_UNSAFE = '/\\:*?"<>|,;'
# Names that Windows keeps for devices, also before a dot.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}


class Number(NamedTuple):
    """A column of numbers between two limits, both allowed; the unit is for messages."""

    low: float
    high: float
    unit: str


class Name(NamedTuple):
    """A column of text that becomes part of a file name and of comma-separated lists."""


class Choice(NamedTuple):
    """A column that holds one of a few words."""

    words: Tuple[str, ...]


class Text(NamedTuple):
    """A column of any text; required ones must not be empty."""


_LOCAL = Number(-1000.0, 1000.0, tr("metres of the area's local grid"))
_SITE = Number(-1e8, 1e8, "metres")

AREA_COLUMNS = {
    "area_id": Name(),
    "level": Name(),
    "surface": Choice(SURFACES),
    "antenna_separation_m": Number(0.0, 1.0, "metres"),
    "centre_frequency_mhz": Number(100.0, 10000.0, "MHz"),
}
AREA_OPTIONAL = ("scanned_on", "scanned_by", "note")
WALL_COLUMN = {"wall": Name()}
# Slab thickness from a drawing or a drill hole, metres; `ScanArea.extra` holds it, as any further column.
STATED_THICKNESS = "slab_thickness_m"
LINE_COLUMNS = {
    "area_id": Name(),
    "line_id": Name(),
    "file": Text(),
    "dipole_axis": Choice(DIPOLE_AXES),
    "start_x_m": _LOCAL,
    "start_y_m": _LOCAL,
    "end_x_m": _LOCAL,
    "end_y_m": _LOCAL,
}
CONTROL_POINT_COLUMNS = {
    "area_id": Name(),
    "point_id": Text(),
    "local_x_m": _LOCAL,
    "local_y_m": _LOCAL,
    "site_x_m": _SITE,
    "site_y_m": _SITE,
    "sigma_m": Number(1e-5, 10.0, "metres"),
}
CONTROL_POINT_OPTIONAL = {"local_sigma_m": Number(0.0, 10.0, "metres")}

Columns = Dict[str, Union[Number, Name, Choice, Text]]


@dataclass(frozen=True)
class Row:
    """One checked row: where it stands, its required values by column, and all other cells as text."""

    where: str
    values: Dict[str, Union[str, float]]
    extra: Dict[str, str]


def read_areas(folder: Path, findings: List[Finding]) -> Dict[str, ScanArea]:
    """The scan areas by id, without lines and control points yet; adds to `findings`.

    Each wall is an elevation of its own: where the optional column `wall` names it, the area's level is called after level and
    wall, and `extra` keeps both. Raises `SurveyError` where the table is missing or no table of areas.
    """
    areas: Dict[str, ScanArea] = {}
    taken = set()
    for row in read_table(folder / AREAS_FILE, AREA_COLUMNS, findings, WALL_COLUMN):
        # Two ids that differ in case only would share one file on some systems.
        if row.values["area_id"].lower() in taken:
            findings.append(
                Finding(
                    "error",
                    row.where,
                    tr(
                        "area {area_id} is already in the table; this row is left out.",
                        area_id=row.values["area_id"],
                    ),
                )
            )
            continue
        taken.add(row.values["area_id"].lower())
        known = {name: row.extra.pop(name, "") for name in AREA_OPTIONAL}
        values, extra = dict(row.values), row.extra
        wall = values.pop("wall", None)
        if wall and is_elevation(values["surface"]):
            extra = {**extra, "wall": wall, "plan_level": values["level"]}
            values["level"] = f"{values['level']} {wall}"
        areas[values["area_id"]] = ScanArea(**values, **known, extra=extra)
    return areas


def read_lines(folder: Path, findings: List[Finding]) -> List[Row]:
    """The rows of the table of lines, values checked one by one. Raises `SurveyError` as `read_areas`."""
    return read_table(folder / LINES_FILE, LINE_COLUMNS, findings)


def read_control_points(folder: Path, findings: List[Finding]) -> List[Tuple[str, ControlPoint]]:
    """Control points, each with where it stands. A missing table, or one without the right columns, is a finding only."""
    path = folder / CONTROL_POINTS_FILE
    if not path.exists():
        findings.append(
            Finding("warning", path.name, tr("the table is missing; no area can be positioned on the site grid."))
        )
        return []
    try:
        rows = read_table(path, CONTROL_POINT_COLUMNS, findings, CONTROL_POINT_OPTIONAL)
    except SurveyError as error:
        findings.append(
            Finding("error", path.name, tr("{error} No area can be positioned on the site grid.", error=error))
        )
        return []
    points = []
    taken = set()
    for row in rows:
        value = row.values
        key = (value["area_id"], value["point_id"])
        if key in taken:
            findings.append(
                Finding(
                    "error",
                    row.where,
                    tr(
                        "point {point_id} of area {area_id} is already in the table; this row is left out.",
                        point_id=key[1],
                        area_id=key[0],
                    ),
                )
            )
            continue
        taken.add(key)
        local, site = (value["local_x_m"], value["local_y_m"]), (value["site_x_m"], value["site_y_m"])
        points.append((row.where, ControlPoint(*key, local, site, value["sigma_m"], value.get("local_sigma_m", 0.0))))
    return points


def read_table(path: Path, columns: Columns, findings: List[Finding], optional: Optional[Columns] = None) -> List[Row]:
    """All usable rows of one table; each row left out becomes a finding of severity ``error``.

    Columns of `optional` may be missing or empty; then they are missing from the row's values.
    Raises `SurveyError` where the file cannot be read or lacks a column.
    """
    text = _read_text(path)
    separator = _separator(text)
    # Strict: an opened quote that never ends would swallow all rows after it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    names: List[str] = []
    rows = []
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if not any(cells):
                continue
            if not names:
                names = _check_header(path, cells, columns, separator)
                continue
            where = tr("{name} row {row}", name=path.name, row=reader.line_num)
            row = _check_row(where, names, cells, columns, optional or {}, decimal_comma=separator == ";")
            if isinstance(row, Finding):
                findings.append(row)
            else:
                rows.append(row)
    except csv.Error as error:
        raise SurveyError(
            tr(
                "{name} row {row} is not valid CSV: {error}.",
                name=path.name,
                row=reader.line_num,
                error=error,
            )
        ) from error
    if not names:
        raise SurveyError(tr("{name} is empty.", name=path.name))
    return rows


def cell_problems(name: str, value, kind: Union[Number, Name, Choice, Text]) -> List[str]:
    """A sentence on a value that a table's column would refuse; empty where it can stand there."""
    try:
        _READERS[type(kind)](str(value).strip(), kind, False)
    except ValueError as error:
        return [f"{name} {error}."]
    return []


def read_cells(path: Path) -> Tuple[List[str], List[List[str]], str, bool]:
    """A table as it stands: column names and rows of cells as text, the separator, and whether a byte-order mark leads.

    Raises `SurveyError` where the file cannot be read or is no valid CSV.
    """
    text = _read_text(path)
    separator = _separator(text)
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True) if any(row)]
    except csv.Error as error:
        raise SurveyError(tr("{name} is not valid CSV: {error}.", name=path.name, error=error)) from error
    if not rows:
        raise SurveyError(tr("{name} is empty.", name=path.name))
    return [name.strip().lower() for name in rows[0]], rows, separator, path.read_bytes().startswith(codecs.BOM_UTF8)


def _separator(text: str) -> str:
    header = text.lstrip().partition("\n")[0]
    return ";" if header.count(";") > header.count(",") else ","


def _read_text(path: Path) -> str:
    try:
        if not path.is_file():
            raise SurveyError(
                tr(
                    "{name} is missing from the folder {folder}.",
                    name=path.name,
                    folder=path.parent.name or path.parent,
                )
            )
        if path.stat().st_size > MAX_BYTES:
            raise SurveyError(
                tr("{name} is too large for a table: {size} bytes.", name=path.name, size=path.stat().st_size)
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SurveyError(tr("{name} is not UTF-8 text; save it as CSV in UTF-8.", name=path.name)) from error
    except OSError as error:
        raise SurveyError(
            tr("{name} cannot be read: {reason}.", name=path.name, reason=error.strerror or error)
        ) from error


def _check_header(path: Path, cells: List[str], columns: Columns, separator: str) -> List[str]:
    names = [cell.lower() for cell in cells]
    missing = [name for name in columns if name not in names]
    if missing:
        raise SurveyError(
            tr(
                "{name} lacks the columns {missing}; its columns, separated by '{separator}', are: {names}.",
                name=path.name,
                missing=", ".join(missing),
                separator=separator,
                names=short(", ".join(names), 300),
            )
            if len(missing) > 1
            else tr(
                "{name} lacks the column {missing}; its columns, separated by '{separator}', are: {names}.",
                name=path.name,
                missing=missing[0],
                separator=separator,
                names=short(", ".join(names), 300),
            )
        )
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise SurveyError(tr("{name} has the column {text} more than once.", name=path.name, text=short(twice[0])))
    return names


def _check_row(
    where: str, names: List[str], cells: List[str], columns: Columns, optional: Columns, decimal_comma: bool
) -> Union[Row, Finding]:
    if any(cells[len(names) :]):
        return Finding(
            "error",
            where,
            trn(
                "it has {count} field, but the header has {expected}; it is left out.",
                "it has {count} fields, but the header has {expected}; it is left out.",
                len(cells),
                expected=len(names),
            ),
        )
    cells = cells + [""] * (len(names) - len(cells))
    by_name = dict(zip(names, cells))
    values = {}
    stated = {name: kind for name, kind in optional.items() if by_name.get(name)}
    for name, kind in {**columns, **stated}.items():
        try:
            values[name] = _READERS[type(kind)](by_name.pop(name), kind, decimal_comma)
        except ValueError as error:
            return Finding("error", where, tr("{name} {error}; the row is left out.", name=name, error=error))
    return Row(where, values, {name: text for name, text in by_name.items() if name})


def _read_number(text: str, kind: Number, decimal_comma: bool) -> float:
    plain = text.replace(",", ".") if decimal_comma else text
    try:
        value = math.nan if "_" in plain else float(plain)  # Python alone reads 1_0 as ten
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(tr("is '{text}', not a number", text=short(text)) if text else tr("is empty"))
    if not kind.low <= value <= kind.high:
        raise ValueError(
            tr(
                "is {text}; it must lie between {low:g} and {high:g} {unit}",
                text=short(text),
                low=kind.low,
                high=kind.high,
                unit=kind.unit,
            )
        )
    return value


def _read_name(text: str, kind: Name, decimal_comma: bool) -> str:
    text = _read_any(text, kind, decimal_comma)
    unsafe = next((mark for mark in text if mark in _UNSAFE or ord(mark) < 32), None)
    if unsafe or text.startswith("."):
        raise ValueError(
            tr(
                "'{text}' contains '{unsafe}', which is not allowed there in a file name or list",
                text=short(text),
                unsafe=unsafe or ".",
            )
        )
    if text.split(".")[0].strip().lower() in _DEVICES:
        raise ValueError(tr("'{text}' cannot be the name of a file on Windows; choose another one", text=text))
    return text


def _read_choice(text: str, kind: Choice, decimal_comma: bool) -> str:
    if text.lower() not in kind.words:
        raise ValueError(tr("is '{text}'; it must be one of {words}", text=short(text), words=", ".join(kind.words)))
    return text.lower()


def _read_any(text: str, kind: Text, decimal_comma: bool) -> str:
    if not text:
        raise ValueError(tr("is empty"))
    return text


_READERS: Dict[type, Callable] = {Number: _read_number, Name: _read_name, Choice: _read_choice, Text: _read_any}
