"""What reports, answers and records of a fit consist of: a paper of sections and map sheets, without a word on how it is drawn.

`page` makes HTML of it, `plugin/layouts` a PDF.
"""

from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any, Callable, Optional, Sequence, Tuple, Union

import numpy as np


class Length(Enum):
    """Who a report on a survey is for: everything that a surveyor checks after a run, or what a client needs."""

    RUN = "run"
    CLIENT = "client"


@dataclass(frozen=True)
class Text:
    """One paragraph; `is_source` where it says where something comes from, and is set back behind the rest."""

    text: str
    is_source: bool = False


@dataclass(frozen=True)
class Table:
    """A table; a head that starts with # is that of a column of numbers. Without rows the sentence `empty` stands instead.

    `widths` are those of the columns in per cent; without them the content decides.
    """

    heads: Sequence[str]
    rows: Sequence[Sequence]
    empty: str = ""
    widths: Sequence[float] = ()


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    lines: Sequence[str]


@dataclass(frozen=True)
class Picture:
    """A picture file (PNG) with what it shows."""

    path: Path
    caption: str


@dataclass(frozen=True)
class Cautions:
    """The box with what must be read before anyone drills."""


@dataclass(frozen=True)
class Signatures:
    """A line to sign for each of these roles."""

    roles: Sequence[str]


Part = Union[Text, Table, Bullets, Picture, Cautions, Signatures]


@dataclass(frozen=True)
class Section:
    """A heading (none on the cover) and what stands below it; `new_page` where it must not share a page with what is above."""

    title: str
    parts: Sequence[Part]
    new_page: bool = False


@dataclass(frozen=True)
class MapSheet:
    """A plan of one level and surface, or of one scan area, on a page of its own.

    `extent_m` holds lower left and upper right corner on the site grid, shape (2, 2).
    """

    title: str
    level: str
    surface: str
    extent_m: np.ndarray = field(compare=False)
    caption: str
    area_id: Optional[str] = None


@dataclass(frozen=True)
class Paper:
    """The whole paper: its title, and its parts in order."""

    title: str
    parts: Tuple[Union[Section, MapSheet], ...]


@dataclass(frozen=True)
class Column:
    """One column of a table that is made of rows: its head, its share of the width, what stands in it, and in which report.

    `only` names the one length that has this column; None where both do.
    """

    head: str
    width: float
    cell: Callable[[Any], object]
    only: Optional[Length] = None


def table_of(columns: Sequence[Column], rows: Sequence, length: Length, empty: str = "") -> Table:
    """The table of these rows at this length; `empty` stands where there is no row."""
    shown = [column for column in columns if column.only in (None, length)]
    whole = sum(column.width for column in shown)
    return Table(
        [column.head for column in shown],
        [tuple(column.cell(row) for column in shown) for row in rows],
        empty,
        [100.0 * column.width / whole for column in shown],
    )
