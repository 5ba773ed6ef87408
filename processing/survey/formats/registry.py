"""The file formats of scan lines, in one place: which can read a file, and reading through it."""

from pathlib import Path
from typing import Callable, NamedTuple, Optional, Tuple

import numpy as np

from ...common.errors import SurveyError
from ...common.language import tr
from . import segy, segy_layout, text
from .line_header import LineHeader


class LineFormat(NamedTuple):
    """One file format: `recognises` never raises; the readers raise `SurveyError` naming the file."""

    name: str
    suffixes: Tuple[str, ...]
    recognises: Callable[[Path], bool]
    read_header: Callable[..., LineHeader]
    read_traces: Callable[[Path], np.ndarray]


# In the order they are asked.
FORMATS = (
    LineFormat("SEG-Y", (".sgy", ".segy"), segy_layout.is_segy, segy.read_header, segy.read_traces),
    LineFormat(
        tr("delimited text"), (".csv", ".txt", ".tsv", ".asc"), text.is_text, text.read_header, text.read_traces
    ),
)


def read_header(path: Path, sample_interval_ns: Optional[float] = None) -> LineHeader:
    """What a line's file says about itself; a given `sample_interval_ns` replaces the file's own.

    Raises `SurveyError` naming the file.
    """
    return _find_format(path).read_header(Path(path), sample_interval_ns)


def read_traces(path: Path) -> np.ndarray:
    """All samples of a line's file as float32, shape (trace, sample). Raises `SurveyError` naming the file."""
    return _find_format(path).read_traces(Path(path))


def _find_format(path: Path) -> LineFormat:
    """The format whose suffix the file has; where the suffix is of none, the first that recognises its content.

    The suffix counts first, so that a damaged file is told what is wrong with it rather than that its format is not known.
    """
    path = Path(path)
    try:
        if not path.is_file():
            raise SurveyError(tr("{name} is missing or not a plain file.", name=path.name))
        if path.stat().st_size == 0:
            raise SurveyError(tr("{name} is empty.", name=path.name))
    except OSError as error:
        raise SurveyError(
            tr("{name} cannot be read: {reason}.", name=path.name, reason=error.strerror or error)
        ) from error
    for entry in FORMATS:
        if path.suffix.lower() in entry.suffixes:
            return entry
    for entry in FORMATS:
        if entry.recognises(path):
            return entry
    names = tr(" nor ").join(entry.name for entry in FORMATS)
    raise SurveyError(tr("{name} is neither {names}.", name=path.name, names=names))
