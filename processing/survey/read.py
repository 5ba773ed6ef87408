"""Reading a survey folder: three tables and the files of the lines, each line checked once from end to end.

What is wrong with one row or one file is a `Finding` and costs that row or file alone; only a survey without any usable
line is an error.
"""

from dataclasses import replace
from pathlib import Path
from typing import Callable, Dict, List, Mapping, Optional, Sequence, Tuple

from ..common.errors import SurveyError, short
from ..common.language import tr, trn
from ..common.monitor import Monitor
from . import tables
from .formats.registry import read_header
from .line_checks import check_sampling, check_spacing, choose_positions, compare_lines
from .model import Finding, ScanArea, ScanLine, Survey
from .quality import check_traces

# What an earlier reading said of a row of the table of lines, by its place and values, if its samples need no second look.
Earlier = Callable[[str, Mapping[str, object]], Optional[Sequence[str]]]


def never_read(where: str, values: Mapping[str, object]) -> None:
    """Nothing was read earlier: every line is looked at."""


def read_survey(
    folder: Path,
    sample_interval_ns: Optional[float] = None,
    monitor: Monitor = Monitor(),
    earlier: Earlier = never_read,
) -> Survey:
    """Read and check the survey in `folder`.

    Every line's samples are read once, for values that are no numbers, dead traces and clipping, and not kept. All that
    was noticed stands in the survey's findings and goes, as it is found, to `monitor.warn` (errors and warnings).

    Parameters
    ----------
    sample_interval_ns : float, optional
        Replaces the sample interval of every file, nanoseconds.
    earlier : callable, optional
        The warnings of an earlier reading on a row whose file is still the same: its samples are not read then. None where they
        must be, as for every line by default.

    Raises
    ------
    SurveyError
        The folder or a table cannot be read at all, or no line is usable.
    Cancelled
        `monitor` says that the user has stopped the run.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise SurveyError(tr("The survey folder {folder} does not exist or is not a folder.", folder=folder))
    if sample_interval_ns is not None and not 0.0 < sample_interval_ns < float("inf"):
        raise SurveyError(
            tr(
                "The sample interval must be a number above zero in ns, not {sample_interval_ns}.",
                sample_interval_ns=sample_interval_ns,
            )
        )
    findings = _Findings(monitor)
    areas = tables.read_areas(folder, findings)
    if not areas and not findings:
        raise SurveyError(tr("{name} has no rows; add one for each scan area.", name=tables.AREAS_FILE))
    lines = _read_lines(folder, areas, sample_interval_ns, findings, monitor, earlier)
    _attach_control_points(folder, areas, findings)

    complete = []
    for area in areas.values():
        own = tuple(line for line in lines if line.area_id == area.area_id)
        complete.append(replace(area, lines=own))
        _check_area(complete[-1], findings)
    usable = tuple(area for area in complete if area.lines)
    if not usable:
        reason = next(
            (f"{found.where}: {found.text}" for found in findings if found.severity == "error"),
            tr("the tables have no rows."),
        )
        raise SurveyError(
            trn(
                "The survey {name} has no usable line ({count} finding); the first error: {reason}",
                "The survey {name} has no usable line ({count} findings); the first error: {reason}",
                len(findings),
                name=folder.name,
                reason=reason,
            )
        )
    return Survey(folder, usable, tuple(findings))


class _Findings(list):
    """Findings in the order they are made; errors and warnings are also told at once."""

    def __init__(self, monitor: Monitor):
        super().__init__()
        self._monitor = monitor

    def append(self, finding: Finding) -> None:
        super().append(finding)
        if finding.severity != "note":
            self._monitor.warn(f"{finding.where}: {finding.text}")


def _read_lines(
    folder: Path,
    areas: Dict[str, ScanArea],
    sample_interval_ns: Optional[float],
    findings: List[Finding],
    monitor: Monitor,
    earlier: Earlier,
) -> List[ScanLine]:
    lines: List[ScanLine] = []
    keys, files = set(), {}
    homeless: Dict[str, List[str]] = {}
    before = len(findings)
    rows = tables.read_lines(folder, findings)
    if not rows and len(findings) == before:
        raise SurveyError(tr("{name} has no rows; add one for each line file.", name=tables.LINES_FILE))
    for number, row in enumerate(rows):
        monitor.step(number / len(rows))
        value = row.values
        key = (value["area_id"], value["line_id"].lower(), value["dipole_axis"])
        where = f"{row.where} ({short(value['area_id'])} {short(value['line_id'])} {value['dipole_axis']})"
        if value["area_id"] not in areas:
            homeless.setdefault(value["area_id"], []).append(where)
            continue
        try:
            if key in keys:
                raise SurveyError(tr("this line, with this dipole axis, is already in the table."))
            path = _find_file(folder, value["file"])
            if path in files:
                raise SurveyError(tr("{file} is already the file of {line}.", file=value["file"], line=files[path]))
            known = earlier(where, value)
            line, warnings = _read_line(path, row, areas[value["area_id"]], sample_interval_ns, known)
        except SurveyError as error:
            findings.append(Finding("error", where, tr("{error} The line is left out.", error=error)))
            continue
        keys.add(key)
        files[path] = where
        lines.append(line)
        for text in warnings:
            findings.append(Finding("warning", where, text))
    _tell_homeless(homeless, findings)
    monitor.step(1.0)
    return lines


def _tell_homeless(homeless: Mapping[str, Sequence[str]], findings: List[Finding]) -> None:
    """One finding, at the first row, for each area that rows name and that has no usable row of its own."""
    for area_id, rows in homeless.items():
        area = {"area": short(area_id), "areas_file": tables.AREAS_FILE}
        text = tr("area {area} is not among the usable rows of {areas_file}. The row is left out.", **area)
        if len(rows) > 1:
            text = tr(
                "area {area} is not among the usable rows of {areas_file}. This row and {count} more of that area are left out.",
                **area,
                count=len(rows) - 1,
            )
        findings.append(Finding("error", rows[0], text))


def _find_file(folder: Path, text: str) -> Path:
    """The file of a line; a name that leads out of the survey folder is refused, also through a link."""
    relative = Path(text.replace("\\", "/"))  # tables written on Windows
    if relative.is_absolute():  # before anything is asked: on Windows the name may be that of another computer
        raise SurveyError(tr("{text} is outside the survey folder; enter a path inside it.", text=short(text)))
    try:
        root = folder.resolve()
        path = (root / relative).resolve()
        exists = path.exists()
    except (OSError, RuntimeError, ValueError) as error:  # a link to itself, a character no file name may hold
        raise SurveyError(tr("{text} cannot be the name of a file.", text=short(repr(text)))) from error
    if root not in path.parents:
        raise SurveyError(tr("{text} is outside the survey folder; enter a path inside it.", text=short(text)))
    if not exists:
        raise SurveyError(tr("{text} is missing.", text=short(text)))
    return path


def _read_line(
    path: Path, row: tables.Row, area: ScanArea, sample_interval_ns: Optional[float], known: Optional[Sequence[str]]
) -> Tuple[ScanLine, List[str]]:
    """One checked line and the warnings about it. Raises `SurveyError` where it cannot be used."""
    value = row.values
    start_m, end_m = (value["start_x_m"], value["start_y_m"]), (value["end_x_m"], value["end_y_m"])
    if start_m == end_m:
        raise SurveyError(
            tr(
                "its start and end are the same point, {x:g}, {y:g}.",
                x=start_m[0],
                y=start_m[1],
            )
        )
    header = read_header(path, sample_interval_ns)
    check_sampling(value["file"], header, area)
    positions_m, position_warnings = choose_positions(header.positions_m, start_m, end_m)
    line = ScanLine(
        area_id=value["area_id"],
        line_id=value["line_id"],
        dipole_axis=value["dipole_axis"],
        path=path,
        start_m=start_m,
        end_m=end_m,
        trace_count=header.trace_count,
        sample_count=header.sample_count,
        sample_interval_ns=header.sample_interval_ns,
        positions_m=positions_m,
        extra=row.extra,
    )
    warnings = [*header.notes, *check_spacing(value["file"], line, area), *position_warnings]
    if known is not None:
        return line, [*warnings, *(text for text in known if text not in warnings)]
    for severity, text in check_traces(line.read_traces()):
        if severity == "error":
            raise SurveyError(f"{value['file']}: {text}")
        warnings.append(text)
    return line, warnings


def _attach_control_points(folder: Path, areas: Dict[str, ScanArea], findings: List[Finding]) -> None:
    homeless: Dict[str, List[str]] = {}
    for where, point in tables.read_control_points(folder, findings):
        area = areas.get(point.area_id)
        if area is None:
            homeless.setdefault(point.area_id, []).append(where)
        else:
            areas[point.area_id] = replace(area, control_points=(*area.control_points, point))
    _tell_homeless(homeless, findings)


def _check_area(area: ScanArea, findings: List[Finding]) -> None:
    """Findings on an area as a whole, once its lines and control points are known."""
    where = tr("area {area_id}", area_id=area.area_id)
    if not area.lines:
        findings.append(Finding("error", where, tr("it has no usable line; the area is left out.")))
        return
    if len(area.control_points) < 2:
        text = trn(
            "it has {count} control point, but two are needed; it is not positioned on the site grid.",
            "it has {count} control points, but two are needed; it is not positioned on the site grid.",
            len(area.control_points),
        )
        findings.append(Finding("warning", where, text))
    if len({line.line_id for line in area.lines}) == 1:
        findings.append(Finding("note", where, tr("it has a single line: picks and a radargram, but no depth slices.")))
    for name, text in compare_lines(area.lines):
        findings.append(Finding("warning", tr("{where} line {name}", where=where, name=name), text))
