"""A paper as HTML, for a browser and for the text engine that sets printed pages: made, and escaped, nowhere else.

A page for a browser is one file that stands alone and prints in grey: no scripts, nothing from elsewhere.
"""

import base64
from html import escape
from typing import Callable, Optional, Sequence, Tuple

from ..common import cautions
from ..common.language import current, tr
from .content import Bullets, Cautions, MapSheet, Paper, Part, Picture, Section, Signatures, Table, Text

STYLE = """
body { font: 10.5pt/1.45 "DejaVu Sans", Verdana, sans-serif; color: #1c1c1c; max-width: 62em; margin: 2em auto; padding: 0 1em; }
h1 { font-size: 1.6em; margin-bottom: 0.2em; }
h2 { font-size: 1.15em; margin: 1.8em 0 0.5em; border-bottom: 1px solid #8a8a8a; padding-bottom: 0.15em; }
p.source { color: #555; margin-top: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: 0.2em 0.6em; border-bottom: 1px solid #d0d0d0; }
th { font-weight: 600; border-bottom-color: #8a8a8a; }
td.number, th.number { text-align: right; }
td.number { white-space: nowrap; }
.cautions { border: 2px solid #1c1c1c; padding: 0.4em 1em; }
.cautions li { margin: 0.25em 0; }
figure { margin: 1em 0; }
figure img { max-width: 100%; border: 1px solid #d0d0d0; }
figcaption { font-size: 0.9em; color: #555; }
table.signatures td { height: 3.4em; min-width: 8em; }
@media print { body { margin: 0; max-width: none; font-size: 9pt; } h2 { break-after: avoid; } tr, li { break-inside: avoid; } }
"""


def paper_html(paper: Paper, draw_map: Optional[Callable[[MapSheet], bytes]] = None) -> str:
    """The paper as one HTML file; `draw_map` returns a plan as PNG and is needed where the paper has one."""
    writer = BrowserWriter()
    pieces = [writer.heading(paper.title, 1)]
    for part in paper.parts:
        if isinstance(part, MapSheet):
            pieces += [writer.heading(part.title), writer.figure(draw_map(part), part.title, part.caption)]
        else:
            pieces.append(writer.section(part))
    return (
        f'<!DOCTYPE html>\n<html lang="{escape(current() or "en")}">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(paper.title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        + "\n".join(pieces)
        + "\n</body>\n</html>\n"
    )


class BrowserWriter:
    """HTML of the parts of a paper for a browser, which looks up in `STYLE` how they look."""

    table_tag, signatures_tag, end_of_table = "<table>", '<table class="signatures">', "</table>"
    box_start, box_end = '<div class="cautions">', "</div>"
    words_kind, number_kind, source_kind = "", ' class="number"', ' class="source"'
    room_to_sign = ""

    def section(self, section: Section) -> str:
        """Its heading, if it has one, and its parts."""
        heading = [self.heading(section.title)] if section.title else []
        return "\n".join([*heading, *(self.part(part) for part in section.parts)])

    def heading(self, text: str, rank: int = 2) -> str:
        """A heading: rank 1 for the paper, 2 for a section."""
        return f"<h{rank}>{escape(text)}</h{rank}>"

    def part(self, part: Part) -> str:
        """One part of a section."""
        if isinstance(part, Text):
            return f"<p{self.source_kind if part.is_source else ''}>{escape(part.text)}</p>"
        if isinstance(part, Table):
            return self._table(part) if part.rows else f"<p>{escape(part.empty)}</p>"
        if isinstance(part, Bullets):
            return self._bullets(part.lines)
        if isinstance(part, Picture):
            return self.picture(part)
        if isinstance(part, Cautions):
            box = f"{self.box_start}{self._bullets(cautions.ALL)}{self.box_end}"
            return f"{self.heading(tr('Before anyone drills'))}\n{box}"
        if isinstance(part, Signatures):
            return self._signatures(part)
        raise TypeError(f"{type(part).__name__} is no part of a section")

    def picture(self, picture: Picture) -> str:
        """A picture with its caption."""
        return self.figure(picture.path.read_bytes(), picture.caption, picture.caption)

    def figure(self, png: bytes, alternative: str, caption: str) -> str:
        """A picture that stands in the page itself, so that the page is one file."""
        data = base64.b64encode(png).decode("ascii")
        return (
            f'<figure><img src="data:image/png;base64,{data}" alt="{escape(alternative)}">'
            f"<figcaption>{escape(caption)}</figcaption></figure>"
        )

    def number(self, text: str) -> str:
        """What stands in a column of numbers."""
        return escape(text)

    def share(self, width: float) -> str:
        """The attribute that gives a column its share of the width, per cent; a browser finds a better one by the content."""
        return ""

    @staticmethod
    def _bullets(lines: Sequence[str]) -> str:
        return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"

    def _table(self, table: Table) -> str:
        """A table; one without words in any head has no row of heads."""
        numbers = [head.startswith("#") for head in table.heads]
        pieces = [self.table_tag, *self._heads(table.heads, table.widths), "<tbody>"]
        for row in table.rows:
            cells = (
                f"<td{self.number_kind}>{self.number(str(cell))}</td>" if number else f"<td>{escape(str(cell))}</td>"
                for cell, number in zip(row, numbers)
            )
            pieces.append("<tr>" + "".join(cells) + "</tr>")
        return "\n".join([*pieces, f"</tbody>{self.end_of_table}"])

    def _heads(self, heads: Sequence[str], widths: Sequence[float]) -> Sequence[str]:
        if not any(heads):
            return []
        shares = [self.share(width) for width in widths] or [""] * len(heads)
        kinds = [self.number_kind if head.startswith("#") else self.words_kind for head in heads]
        cells = (f"<th{share}{kind}>{escape(head.lstrip('#'))}</th>" for head, share, kind in zip(heads, shares, kinds))
        return ["<thead><tr>", *cells, "</tr></thead>"]

    def _signatures(self, part: Signatures) -> str:
        heads = ("", tr("Name"), tr("Date"), tr("Signature"))
        room = f"<td>{self.room_to_sign}</td>" * 3
        rows = [f"<tr><td>{escape(role)}</td>{room}</tr>" for role in part.roles]
        pieces = [self.signatures_tag, *self._heads(heads, (16, 32, 16, 36)), "<tbody>", *rows]
        return "\n".join([*pieces, f"</tbody>{self.end_of_table}"])


class PrintWriter(BrowserWriter):
    """HTML of the parts of a paper for Qt's text engine, which knows attributes where a browser has styles.

    `place_picture` makes a picture known to the document and returns its name there and its width in the dots that HTML counts in.
    """

    _shape = 'width="100%" cellspacing="0" cellpadding="4" style="border-collapse: collapse;"'
    table_tag, signatures_tag = f"<table {_shape}>", f'<table border="1" {_shape}>'
    # A heading right below a table would stick to it.
    end_of_table = '</table><p style="font-size: 4pt; margin: 0px;">&nbsp;</p>'
    box_start, box_end = f"{signatures_tag}<tr><td>", f"</td></tr>{end_of_table}"
    words_kind, number_kind, source_kind = ' align="left"', ' align="right"', ' style="color: #555"'
    room_to_sign = "<br><br><br>"

    def __init__(self, place_picture: Callable[[Picture], Tuple[str, float]]):
        self.place_picture = place_picture

    def picture(self, picture: Picture) -> str:
        """A picture with its caption below."""
        name, width = self.place_picture(picture)
        return f'<p><img src="{escape(name)}" width="{width:.0f}"></p><p>{escape(picture.caption)}</p>'

    def number(self, text: str) -> str:
        """A number with its uncertainty stays on one line."""
        return escape(text).replace(" ", "&nbsp;")

    def share(self, width: float) -> str:
        """The attribute that gives a column its share of the width: the text engine knows it as no style."""
        return f' width="{width:.3g}%"'

    def body(self, pieces: Sequence[str]) -> str:
        """What these pieces of HTML are as a document."""
        return "<body>" + "\n".join(pieces) + "</body>"
