"""The client's report as a PDF: pages of text from the paper's sections, pages of plans from layouts, numbered through.

Text is set by Qt's text engine (`text_pages`); plans are layouts of QGIS. Both draw onto the pages of one file.
"""

import re
from typing import List

from qgis.core import QgsLayoutExporter, QgsRenderContext
from qgis.PyQt.QtCore import QBuffer, QByteArray, QMarginsF, QRectF, QSizeF, Qt
from qgis.PyQt.QtGui import QPageLayout, QPageSize, QPainter, QPdfWriter, QTextOption

from ...processing.common.language import tr
from ...processing.reports.content import MapSheet, Paper, Section
from .map_sheets import A4_MM, MapDrawer
from .page import page_font, write_in_place
from .text_pages import TextPages

DOTS_PER_INCH = 300
EDGE_MM, TOP_MM, FOOT_MM = 15.0, 14.0, 18.0
TEXT_DOTS = QSizeF(
    *((side - edges) / 25.4 * DOTS_PER_INCH for side, edges in zip(A4_MM, (2 * EDGE_MM, TOP_MM + FOOT_MM)))
)
PICTURE_DOTS_PER_INCH = 130
# The date that a PDF demands: fixed, so that the same survey gives the same file.
DATE = re.compile(rb"/CreationDate \(D:[^)]*\)")


def write_report_pdf(path, paper: Paper, drawer: MapDrawer, monitor) -> int:
    """Writes the paper and returns its number of pages; raises `ProcessingError` if it cannot."""
    pages = []
    for number, run in enumerate(_runs(paper)):
        monitor.step(number / (len(paper.parts) + 1) * 0.3)
        if isinstance(run, MapSheet):
            pages.append(run)
            continue
        title = paper.title if run[0] is paper.parts[0] else ""
        texts = TextPages(title, run, TEXT_DOTS, DOTS_PER_INCH)
        pages += [(texts, page) for page in range(len(texts.pages))]

    def write(part) -> bool:
        painter = QPainter()
        try:
            drawn = _draw_pages(part, paper.title, pages, drawer, painter, monitor)
        finally:
            if painter.isActive():  # before its file goes, also when the run is stopped: Qt crashes otherwise
                painter.end()
        if drawn:
            part.write_bytes(DATE.sub(lambda found: _fixed(found.group(0)), part.read_bytes()))
        return drawn

    write_in_place(path, write, tr("The report"))
    return len(pages)


def _draw_pages(path, title: str, pages, drawer: MapDrawer, painter: QPainter, monitor) -> bool:
    """Draws plans and (texts, number of the page) into a new PDF; False where it cannot be written."""
    writer = QPdfWriter(str(path))
    writer.setResolution(DOTS_PER_INCH)
    writer.setTitle(title)
    writer.setCreator("Inslab")
    for number, one in enumerate(pages):
        monitor.step(0.3 + 0.7 * number / len(pages))
        layout = drawer.draw(one) if isinstance(one, MapSheet) else None
        size = layout.pageCollection().page(0).pageSize() if layout else QSizeF(*A4_MM)
        lying = size.width() > size.height()
        orientation = QPageLayout.Orientation.Landscape if lying else QPageLayout.Orientation.Portrait
        writer.setPageLayout(QPageLayout(QPageSize(QPageSize.PageSizeId.A4), orientation, QMarginsF()))
        if number:
            writer.newPage()
        elif not painter.begin(writer):
            return False
        if layout:
            layout.renderContext().setDpi(DOTS_PER_INCH)
            # Newer QGIS draws letters as outlines otherwise, which nobody can search or copy.
            layout.renderContext().setTextRenderFormat(QgsRenderContext.TextRenderFormat.AlwaysText)
            QgsLayoutExporter(layout).renderPage(painter, 0)
            drawer.forget(layout)
        else:
            texts, page = one
            painter.save()
            painter.translate(_dots(EDGE_MM), _dots(TOP_MM))
            texts.draw(painter, page)
            painter.restore()
        _draw_foot(painter, title, number + 1, len(pages), writer)
    return painter.end()


def map_png(drawer: MapDrawer, sheet: MapSheet, monitor) -> bytes:
    """A plan as a picture for a page in a browser."""
    monitor.step(0.4)
    layout = drawer.draw(sheet)
    image = QgsLayoutExporter(layout).renderPageToImage(0, dpi=PICTURE_DOTS_PER_INCH)
    drawer.forget(layout)
    data = QByteArray()
    buffer = QBuffer(data)
    buffer.open(QBuffer.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")
    return bytes(data)


def _fixed(date: bytes) -> bytes:
    """The same number of bytes with a date that never changes."""
    return b"/CreationDate (D:20000101000000" + b"Z" * (len(date) - len(b"/CreationDate (D:20000101000000)")) + b")"


def _runs(paper: Paper):
    """Sections that share their pages, as lists, and plans, in order."""
    run: List[Section] = []
    for part in paper.parts:
        if isinstance(part, MapSheet) or part.new_page:
            if run:
                yield run
            run = []
        if isinstance(part, MapSheet):
            yield part
        else:
            run.append(part)
    if run:
        yield run


def _draw_foot(painter: QPainter, title: str, number: int, count: int, writer: QPdfWriter) -> None:
    painter.save()
    painter.resetTransform()
    painter.setFont(page_font(7.5))
    painter.setPen(Qt.GlobalColor.black)
    line = QRectF(_dots(EDGE_MM), writer.height() - _dots(FOOT_MM - 6), writer.width() - 2 * _dots(EDGE_MM), _dots(6))
    painter.drawLine(line.topLeft(), line.topRight())
    sides = Qt.AlignmentFlag
    painter.drawText(line, title, QTextOption(sides.AlignLeft | sides.AlignVCenter))
    words = tr("page {number} of {count}", number=number, count=count)
    painter.drawText(line, words, QTextOption(sides.AlignRight | sides.AlignVCenter))
    painter.restore()


def _dots(millimetres: float) -> float:
    return millimetres / 25.4 * DOTS_PER_INCH
