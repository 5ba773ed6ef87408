"""Reading a survey folder: three tables and the files of the lines, each line checked once from end to end.

What is wrong with one row or one file is a `Finding` and costs that row or file alone; only a survey without any usable
line is an error.
"""

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Callable, Dict, List, Mapping, Optional, Sequence, Set, Tuple, Union

from ..common.errors import SurveyError, short
from ..common.language import tr, trn
from ..common.monitor import Monitor
from . import tables
from .formats.registry import read_header
from .line_checks import check_sampling, check_spacing, choose_positions, compare_lines
from .model import ControlPoint, Finding, ScanArea, ScanLine, Survey
from .quality import UNREADABLE, SampleChecks, read_checked

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
    return SurveyReading(folder, sample_interval_ns, earlier).finish(monitor)


class _LineRow:
    """A row of the table of lines, with what its file's header gave: a file is looked for and its header read once."""

    def __init__(self, row: tables.Row, folder: Path):
        value = self.values = row.values
        self.key = (value["area_id"], value["line_id"].lower(), value["dipole_axis"])
        self.where = f"{row.where} ({short(value['area_id'])} {short(value['line_id'])} {value['dipole_axis']})"
        self.path: Optional[Path] = None
        self.is_contested = False  # by another row for the same line or file
        self._row = row
        self._no_file: Optional[SurveyError] = None
        self._header: Union[SurveyError, Tuple[ScanLine, List[str], bool], None] = None
        try:
            self.path = _find_file(folder, value["file"])
        except SurveyError as error:
            self._no_file = error

    def find_file(self) -> Path:
        """Raises `SurveyError` where there is none to be used."""
        if self._no_file is not None:
            raise self._no_file
        return self.path

    def read(
        self, area: ScanArea, sample_interval_ns: Optional[float], earlier: Earlier
    ) -> Tuple[ScanLine, List[str], bool]:
        """The line, the warnings about it, and whether its samples are known already. Raises `SurveyError` as `_read_line`."""
        if self._header is None:
            try:
                known = earlier(self.where, self.values)
                line, warnings = _read_line(self.path, self._row, area, sample_interval_ns)
                warnings += [text for text in known or () if text not in warnings]
                self._header = line, warnings, known is not None
            except SurveyError as error:
                self._header = error
        if isinstance(self._header, SurveyError):
            raise self._header
        return self._header

    def judge(self, checks: SampleChecks) -> List[str]:
        """The warnings on the line's samples. Raises `SurveyError` where they cannot be used."""
        for severity, text in checks:
            if severity != "warning":
                raise SurveyError(text if severity == UNREADABLE else f"{self.values['file']}: {text}")
        return [text for _, text in checks]

    def left_out(self, error: SurveyError) -> Finding:
        """The finding on a row that is not used."""
        return Finding("error", self.where, tr("{error} The line is left out.", error=error))


# Says what is wrong with the samples of a row's line.
_Check = Callable[[_LineRow, ScanLine], SampleChecks]


class SurveyReading:
    """One reading of a survey folder, for runs that decode the lines anyway: nothing is read twice.

    `begin` gives the survey as its tables and headers have it, `learn` takes in what someone else saw in the samples of its lines,
    `finish` gives the checked survey: that of `read_survey`, which takes the same parameters. Errors are those of `read_survey`.
    """

    def __init__(self, folder: Path, sample_interval_ns: Optional[float] = None, earlier: Earlier = never_read):
        self._folder = Path(folder)
        if not self._folder.is_dir():
            raise SurveyError(tr("The survey folder {folder} does not exist or is not a folder.", folder=self._folder))
        if sample_interval_ns is not None and not 0.0 < sample_interval_ns < float("inf"):
            raise SurveyError(
                tr(
                    "The sample interval must be a number above zero in ns, not {sample_interval_ns}.",
                    sample_interval_ns=sample_interval_ns,
                )
            )
        self._interval_ns, self._earlier = sample_interval_ns, earlier
        self._tables: Dict[Callable, Tuple[object, List[Finding]]] = {}
        self._rows: Optional[List[_LineRow]] = None
        self._used: Mapping[Path, _LineRow] = {}
        self._checks: Dict[Path, SampleChecks] = {}

    def begin(self, monitor: Monitor = Monitor()) -> Survey:
        """The survey as if all samples were sound.

        Where two rows are for one line or one file, those of the first are read: the second counts if they cannot be used.
        """
        return self._assemble(monitor, lambda row, line: self._check(row, line) if row.is_contested else [])

    def learn(self, checks: Mapping[Path, SampleChecks], monitor: Monitor = Monitor()) -> None:
        """Takes in what is wrong with the samples of lines, by their paths, and tells it at once."""
        self._checks.update(checks)
        findings = _Findings(monitor)
        for path, own in checks.items():
            row = self._used[path]
            try:
                for text in row.judge(own):
                    findings.append(Finding("warning", row.where, text))
            except SurveyError as error:
                findings.append(row.left_out(error))

    def finish(self, monitor: Monitor = Monitor()) -> Survey:
        """The checked survey; samples of which nothing was learnt are read."""
        return self._assemble(monitor, self._check)

    def _check(self, _row: _LineRow, line: ScanLine) -> SampleChecks:
        if line.path not in self._checks:
            _, self._checks[line.path] = read_checked(line)
        return self._checks[line.path]

    def _assemble(self, monitor: Monitor, check: _Check) -> Survey:
        findings = _Findings(monitor)
        areas = dict(self._read_table(tables.read_areas, findings))
        if not areas and not findings:
            raise SurveyError(tr("{name} has no rows; add one for each scan area.", name=tables.AREAS_FILE))
        lines = self._read_lines(areas, findings, monitor, check)
        _attach_control_points(areas, self._read_table(tables.read_control_points, findings), findings)

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
                    name=self._folder.name,
                    reason=reason,
                )
            )
        return Survey(self._folder, usable, tuple(findings))

    def _read_table(self, read: Callable, findings: List[Finding]):
        """What `read` gives of its table: read once, its findings each time."""
        if read not in self._tables:
            before = len(findings)
            content = read(self._folder, findings)
            self._tables[read] = content, findings[before:]
        else:
            for found in self._tables[read][1]:
                findings.append(found)
        return self._tables[read][0]

    def _read_lines(
        self, areas: Mapping[str, ScanArea], findings: List[Finding], monitor: Monitor, check: _Check
    ) -> List[ScanLine]:
        lines: List[ScanLine] = []
        keys: Set[Tuple] = set()
        files: Dict[Path, _LineRow] = {}
        homeless: Dict[str, List[str]] = {}
        before = len(findings)
        rows = self._read_table(tables.read_lines, findings)
        if not rows and len(findings) == before:
            raise SurveyError(tr("{name} has no rows; add one for each line file.", name=tables.LINES_FILE))
        if self._rows is None:
            self._rows = [_LineRow(row, self._folder) for row in rows]
            counts = Counter(part for row in self._rows for part in (row.key, row.path))
            for row in self._rows:
                row.is_contested = counts[row.key] > 1 or counts[row.path] > 1
        for number, row in enumerate(self._rows):
            monitor.step(number / len(rows))
            if row.values["area_id"] not in areas:
                homeless.setdefault(row.values["area_id"], []).append(row.where)
                continue
            try:
                if row.key in keys:
                    raise SurveyError(tr("this line, with this dipole axis, is already in the table."))
                path = row.find_file()
                if path in files:
                    text = tr("{file} is already the file of {line}.", file=row.values["file"], line=files[path].where)
                    raise SurveyError(text)
                line, warnings, is_checked = row.read(areas[row.values["area_id"]], self._interval_ns, self._earlier)
                if not is_checked:
                    warnings = [*warnings, *row.judge(check(row, line))]
            except SurveyError as error:
                findings.append(row.left_out(error))
                continue
            keys.add(row.key)
            files[path] = row
            lines.append(line)
            for text in warnings:
                findings.append(Finding("warning", row.where, text))
        _tell_homeless(homeless, findings)
        self._used = files
        monitor.step(1.0)
        return lines


class _Findings(list):
    """Findings in the order they are made; errors and warnings are also told at once."""

    def __init__(self, monitor: Monitor):
        super().__init__()
        self._monitor = monitor

    def append(self, finding: Finding) -> None:
        super().append(finding)
        if finding.severity != "note":
            self._monitor.warn(f"{finding.where}: {finding.text}")


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
    path: Path, row: tables.Row, area: ScanArea, sample_interval_ns: Optional[float]
) -> Tuple[ScanLine, List[str]]:
    """One line by its row and header, and the warnings about it. Raises `SurveyError` where it cannot be used."""
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
    return line, [*header.notes, *check_spacing(value["file"], line, area), *position_warnings]


def _attach_control_points(
    areas: Dict[str, ScanArea], points: Sequence[Tuple[str, ControlPoint]], findings: List[Finding]
) -> None:
    homeless: Dict[str, List[str]] = {}
    for where, point in points:
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
