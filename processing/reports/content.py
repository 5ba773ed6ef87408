"""What a paper for a client consists of, and its form as HTML; the same parts become pages in `plugin/layouts`.

Every text that came from a file is escaped. Pictures stand in the page itself, so that it is one file.
"""

import base64
import re
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import Callable, Optional, Sequence, Tuple, Union

import numpy as np

from ..common.language import tr
from .page import cautions_box, page, table


@dataclass(frozen=True)
class Text:
    """One paragraph."""

    text: str


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
    """A picture file with what it shows."""

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


def paper_html(paper: Paper, draw_map: Callable[[MapSheet], bytes]) -> str:
    """The paper as one HTML file; `draw_map` returns a plan as PNG."""
    pieces = [f"<h1>{escape(paper.title)}</h1>"]
    for part in paper.parts:
        if isinstance(part, MapSheet):
            pieces.append(f"<h2>{escape(part.title)}</h2>{figure(draw_map(part), part.title, part.caption)}")
        else:
            pieces.append(section_html(part, lambda one: figure(one.path.read_bytes(), one.caption, one.caption)))
    return page(paper.title, pieces)


def section_html(section: Section, picture_html: Callable[[Picture], str]) -> str:
    """One section; `picture_html` says how a picture is put in."""
    pieces = [f"<h2>{escape(section.title)}</h2>"] if section.title else []
    return "\n".join([*pieces, *(part_html(part, picture_html) for part in section.parts)])


def part_html(part: Part, picture_html: Callable[[Picture], str]) -> str:
    """One part of a section."""
    if isinstance(part, Text):
        return f"<p>{escape(part.text)}</p>"
    if isinstance(part, Table):
        return _table_html(part) if part.rows else f"<p>{escape(part.empty)}</p>"
    if isinstance(part, Bullets):
        return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in part.lines) + "</ul>"
    if isinstance(part, Picture):
        return picture_html(part)
    if isinstance(part, Cautions):
        return cautions_box()
    heads = ("", tr("Name"), tr("Date"), tr("Signature"))
    html = _table_html(Table(heads, [(role, "", "", "") for role in part.roles], widths=(16, 32, 16, 36)))
    return html.replace("<table>", '<table class="signatures">')


def _table_html(part: Table) -> str:
    html = table(part.heads, part.rows)
    widths = iter(part.widths)
    # Not as a style: the text engine that sets the printed pages reads only the attribute.
    return re.sub("<th\\b", lambda _: f'<th width="{next(widths)}%"', html) if part.widths else html


def figure(png: bytes, alternative: str, caption: str) -> str:
    """A picture inside the page."""
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<figure><img src="data:image/png;base64,{data}" alt="{escape(alternative)}">'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )
