"""Radargrams as delimited text, one file a line.

The form, of our own::

    # sample_interval_ns: 0.015
    # rows: traces
    12.5, 13.0, -4.1, ...

Lines that begin with ``#`` come first. `rows` is required and says whether a row of numbers is one trace (`traces`) or one
time (`samples`): read the wrong way round a radargram still looks like one. `sample_interval_ns` may be left out if it is
given otherwise. Other ``#`` lines are free text. Numbers are separated by tabs, semicolons, commas or spaces, the first
of these found in the first row; the decimal sign is the point, or the comma where semicolons or tabs separate. UTF-8.
"""

import codecs
import math
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Iterator, List, Optional, TextIO

import numpy as np

from ...common.errors import SurveyError
from ...common.language import tr
from .line_header import MAX_SAMPLES, LineHeader

MAX_BYTES = 2**29  # half a gigabyte of text: nothing of a radar line is larger
_PEEK_BYTES = 4096
_ROWS = ("traces", "samples")


@dataclass(frozen=True)
class _Form:
    """How one file is written: what a row is, what stands between numbers, and where the numbers begin."""

    rows: str
    sample_interval_ns: Optional[float]
    separator: Optional[str]  # None: any white space
    first_row: int  # counted from 1
    columns: int

    def split(self, line: str) -> List[str]:
        line = line.strip(" \r\n") if self.separator else line.strip()
        if self.separator and line.endswith(self.separator):
            line = line[: -len(self.separator)]  # many programs end each row with the separator
        return line.split(self.separator)

    def parse(self, line: str) -> np.ndarray:
        if self.separator in (";", "\t"):
            line = line.replace(",", ".")
        return np.fromiter(map(float, self.split(line)), float)


def is_text(path: Path) -> bool:
    """Whether the file begins like a radargram in text; never raises."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            start = file.read(_PEEK_BYTES)
        # A character of several bytes may be cut at the end of what was read.
        codecs.getincrementaldecoder("utf-8")().decode(start, final=len(start) < _PEEK_BYTES)
        return bool(start.strip()) and b"\0" not in start
    except (OSError, ValueError):
        return False


def read_header(path: Path, sample_interval_ns: Optional[float] = None) -> LineHeader:
    """What the file says about its line; a given `sample_interval_ns` replaces the file's own.

    Raises `SurveyError` naming the file and the row when it cannot be read.
    """
    with _open(path) as file:
        form = _read_form(path, file)
        file.seek(0)
        count = sum(1 for _ in _rows(file, form))
    interval, source = form.sample_interval_ns, tr("its line '# sample_interval_ns:'")
    if sample_interval_ns is not None:
        interval, source = sample_interval_ns, tr("the parameter 'Sample interval'")
    if interval is None:
        raise SurveyError(
            tr(
                "{name} has no line '# sample_interval_ns: ...'; add it, or specify the sample interval.",
                name=path.name,
            )
        )
    _check_size(path, count, form)
    traces, samples = (count, form.columns) if form.rows == "traces" else (form.columns, count)
    return LineHeader(traces, samples, interval, source)


def read_traces(path: Path) -> np.ndarray:
    """All samples as float32, shape (trace, sample). Raises `SurveyError` naming the file and the row."""
    with _open(path) as file:
        form = _read_form(path, file)
        file.seek(0)
        count = sum(1 for _ in _rows(file, form))
        _check_size(path, count, form)
        values = np.empty((count, form.columns), dtype=np.float32)
        file.seek(0)
        with np.errstate(over="ignore"):  # beyond float32 becomes infinite, which the quality check names
            for row, (number, line) in zip(values, _rows(file, form)):
                row[:] = _parse_row(path, number, line, form)
    return values if form.rows == "traces" else np.ascontiguousarray(values.T)


@contextmanager
def _open(path: Path) -> Iterator[TextIO]:
    """The file as UTF-8 text; what goes wrong while it is open becomes a `SurveyError`."""
    try:
        if not path.is_file():
            raise SurveyError(tr("{name} is missing or not a plain file.", name=path.name))
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise SurveyError(
                tr(
                    "{name} is too large: {size} bytes of text; a line may have at most {max_bytes}.",
                    name=path.name,
                    size=size,
                    max_bytes=MAX_BYTES,
                )
            )
        with path.open(encoding="utf-8-sig") as file:
            yield file
    except UnicodeDecodeError as error:
        raise SurveyError(tr("{name} is not UTF-8 text; save it as UTF-8.", name=path.name)) from error
    except OSError as error:
        raise SurveyError(
            tr("{name} cannot be read: {reason}.", name=path.name, reason=error.strerror or error)
        ) from error


def _read_form(path: Path, file: TextIO) -> _Form:
    rows, interval = None, None
    for number, line in enumerate(file, start=1):
        text = line.strip()
        if not text:
            continue
        if not text.startswith("#"):
            break
        name, _, value = (part.strip().lower() for part in text[1:].partition(":"))
        if name == "rows":
            if value not in _ROWS:
                raise SurveyError(
                    tr(
                        "{name} row {number}: 'rows' must be 'traces' or 'samples', not '{value}'.",
                        name=path.name,
                        number=number,
                        value=value,
                    )
                )
            rows = value
        elif name == "sample_interval_ns":
            interval = _positive(value)
            if interval is None:
                raise SurveyError(
                    tr(
                        "{name} row {number}: the sample interval must be a number above zero, not '{value}'.",
                        name=path.name,
                        number=number,
                        value=value,
                    )
                )
    else:
        raise SurveyError(tr("{name} contains no numbers.", name=path.name))
    if rows is None:
        raise SurveyError(
            tr(
                "{name} does not say whether its rows are traces or samples; add the line '# rows: traces' or '# "
                "rows: samples' at the top.",
                name=path.name,
            )
        )
    separator = next((mark for mark in "\t;," if mark in text), None)
    form = _Form(rows, interval, separator, number, 0)
    return _Form(rows, interval, separator, number, len(form.split(line)))


def _positive(text: str) -> Optional[float]:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and value > 0.0 else None


def _rows(file: TextIO, form: _Form) -> Iterator[tuple]:
    """Row number and text of each row of numbers."""
    for number, line in enumerate(file, start=1):
        if number >= form.first_row and line.strip():
            yield number, line


def _check_size(path: Path, row_count: int, form: _Form) -> None:
    if row_count * form.columns > MAX_SAMPLES:
        raise SurveyError(
            tr(
                "{name} is too large: {row_count} rows of {columns} numbers; a line may have at most {max_samples}.",
                name=path.name,
                row_count=row_count,
                columns=form.columns,
                max_samples=MAX_SAMPLES,
            )
        )


def _parse_row(path: Path, number: int, line: str, form: _Form) -> np.ndarray:
    """One row as float64, shape (column,)."""
    try:
        values = form.parse(line)
    except ValueError:
        cell = next(cell for cell in form.split(line) if not _is_number(cell, form))
        raise SurveyError(
            tr("{name} row {number}: '{cell}' is not a number.", name=path.name, number=number, cell=cell.strip()[:40])
        ) from None
    if len(values) != form.columns:
        raise SurveyError(
            tr(
                "{name} row {number} has {count} numbers, but the first row has {columns}.",
                name=path.name,
                number=number,
                count=len(values),
                columns=form.columns,
            )
        )
    return values


def _is_number(cell: str, form: _Form) -> bool:
    try:
        form.parse(cell)
    except ValueError:
        return False
    return True
