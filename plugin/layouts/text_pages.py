"""Sections of a paper set as pages of text, with tables that go on over pages under the same heads.

Qt's text engine sets the text. It would break a page in the middle of a table's row, and leave a heading alone at the foot of a
page; so the pieces are measured first and dealt out to pages here, and each page is set for itself.
"""

from dataclasses import dataclass
from typing import List, Optional, Sequence, Tuple, Union

from qgis.PyQt.QtCore import QRectF, QSizeF, Qt, QUrl
from qgis.PyQt.QtGui import (
    QAbstractTextDocumentLayout,
    QGuiApplication,
    QImage,
    QPainter,
    QPalette,
    QTextCursor,
    QTextDocument,
)

from ...processing.reports.content import Part, Picture, Section, Signatures, Table, Text
from ...processing.reports.page import PrintWriter
from .page import FONT, page_font

LARGEST_PICTURE = 0.4  # of a page's height
STYLE = f"""
body {{ font-family: "{FONT}"; font-size: 8pt; color: #1c1c1c; }}
h1 {{ font-size: 20pt; margin-top: 20px; }} h2 {{ font-size: 12pt; margin-top: 14px; margin-bottom: 4px; }}
th, td {{ padding: 4px 12px 4px 4px; }} /* a number on the right must not touch the words of the next column */
th {{ font-weight: bold; background-color: #e4e4e4; }}
td {{ border-bottom: 1px solid #b8b8b8; }}
p {{ margin-top: 4px; margin-bottom: 4px; }} li {{ margin-bottom: 2px; }}
"""


@dataclass(frozen=True)
class _Heading:
    """Rank 1 for the title of the paper, 2 for that of a section."""

    text: str
    rank: int = 2


@dataclass(frozen=True)
class _Piece:
    """What is never broken: a heading, a part, or one row of a table (whose number is `row`); heights in dots."""

    content: Union[_Heading, Part]
    height: float
    row: Optional[int] = None
    heads_height: float = 0.0

    @property
    def is_heading(self) -> bool:
        return isinstance(self.content, _Heading)

    def leads_to(self, following: "_Piece") -> bool:
        """Must it stand on the page of what follows? So do headings, and sentences above a table."""
        table = following.row == 0 or isinstance(following.content, Signatures)
        return self.is_heading or (isinstance(self.content, Text) and table)


class TextPages:
    """Pages of a given size (dots) and resolution (dots an inch)."""

    def __init__(self, title: str, sections: Sequence[Section], size: QSizeF, dots_per_inch: int):
        self.size = size
        self.device = QImage(1, 1, QImage.Format.Format_RGB32)  # tells the text engine the resolution, nothing else
        self.device.setDotsPerMeterX(round(dots_per_inch / 0.0254))
        self.device.setDotsPerMeterY(round(dots_per_inch / 0.0254))
        # Widths of pictures in HTML count in dots of the screen.
        self.screen_dots = QGuiApplication.primaryScreen().logicalDotsPerInchY() / dots_per_inch
        pieces = [self._piece(_Heading(title, 1))] if title else []
        for section in sections:
            if section.title:
                pieces.append(self._piece(_Heading(section.title)))
            for part in section.parts:
                pieces += self._rows(part) if isinstance(part, Table) and part.rows else [self._piece(part)]
        self.pages = self._deal_out(pieces)

    def draw(self, painter: QPainter, number: int) -> None:
        """Draws one page with its upper left corner at the painter's origin."""
        context = QAbstractTextDocumentLayout.PaintContext()
        context.palette.setColor(QPalette.ColorRole.Text, Qt.GlobalColor.black)
        context.clip = QRectF(0, 0, self.size.width(), self.size.height())
        self.pages[number].documentLayout().draw(painter, context)

    def _deal_out(self, pieces: List[_Piece]) -> List[QTextDocument]:
        """The pieces page by page, in order."""
        pages = []
        while pieces:
            count = self._fitting(pieces)
            page = self._document(pieces[:count])
            # Set together, pieces are a little higher than each for itself.
            while page.size().height() > self.size.height() and count > 1:
                count = self._without_last_headings(pieces, count - 1)
                page = self._document(pieces[:count])
            pages.append(page)
            pieces = pieces[count:]
        return pages

    def _fitting(self, pieces: List[_Piece]) -> int:
        """How many of the pieces fill a page, going by their heights; at least one."""
        filled = 0.0
        for number, piece in enumerate(pieces):
            goes_on = piece.row is not None and number > 0 and pieces[number - 1].content is piece.content
            filled += piece.height + (0.0 if goes_on else piece.heads_height)
            if filled > self.size.height() and number:
                return self._without_last_headings(pieces, number)
        return len(pieces)

    @staticmethod
    def _without_last_headings(pieces: List[_Piece], count: int) -> int:
        while count > 1 and pieces[count - 1].leads_to(pieces[count]):
            count -= 1
        return count

    def _document(self, pieces: Sequence[_Piece]) -> QTextDocument:
        """One page, or any number of pieces to be measured."""
        document = QTextDocument()
        document.setDocumentMargin(0)
        document.documentLayout().setPaintDevice(self.device)
        document.setDefaultFont(page_font(8))
        document.setDefaultStyleSheet(STYLE)
        writer = PrintWriter(lambda picture: self._place_picture(document, picture))
        html, number = [], 0
        while number < len(pieces):
            piece, end = pieces[number], number + 1
            while end < len(pieces) and piece.row is not None and pieces[end].content is piece.content:
                end += 1
            content = piece.content
            if piece.row is not None:
                rows = [content.rows[one.row] for one in pieces[number:end]]
                content = Table(content.heads, rows, widths=content.widths)
            html.append(writer.heading(content.text, content.rank) if piece.is_heading else writer.part(content))
            number = end
        document.setHtml(writer.body(html))
        document.setTextWidth(self.size.width())
        return document

    def _piece(self, content: Union[_Heading, Part]) -> _Piece:
        document = self._document([_Piece(content, 0.0)])
        return _Piece(content, document.size().height())

    def _rows(self, table: Table) -> List[_Piece]:
        """The rows of a table, measured in the table as a whole."""
        document = self._document([_Piece(table, 0.0, row) for row in range(len(table.rows))])
        layout = document.documentLayout()
        cursor = QTextCursor(document)
        while cursor.currentTable() is None:
            cursor.movePosition(QTextCursor.MoveOperation.NextBlock)
        grid = cursor.currentTable()
        tops = [
            layout.blockBoundingRect(grid.cellAt(row, 0).firstCursorPosition().block()).top()
            for row in range(grid.rows())
        ]
        ends = [*tops[1:], document.size().height()]
        heads = grid.rows() - len(table.rows)
        height_of_heads = tops[heads]
        return [
            _Piece(table, ends[heads + row] - tops[heads + row], row, height_of_heads)
            for row in range(len(table.rows))
        ]  # fmt: skip

    def _place_picture(self, document: QTextDocument, picture: Picture) -> Tuple[str, float]:
        """Makes a picture known to the document: its name there, and its width, which is less than the text's where it is high."""
        image = QImage(str(picture.path))
        document.addResource(QTextDocument.ResourceType.ImageResource, QUrl(picture.path.name), image)
        highest = LARGEST_PICTURE * self.size.height() * image.width() / max(image.height(), 1)
        return picture.path.name, min(self.size.width(), highest) * self.screen_dots
