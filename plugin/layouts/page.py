"""What all pages share: putting items at their places in millimetres, text, frames, and what counts as scanned."""

from pathlib import Path

from qgis.core import (
    QgsFillSymbol,
    QgsLayout,
    QgsLayoutItemLabel,
    QgsLayoutItemPicture,
    QgsLayoutItemShape,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsSingleSymbolRenderer,
    QgsUnitTypes,
)
from qgis.PyQt.QtGui import QFont

from ...processing.common.errors import ProcessingError, disk_is_full
from ...processing.common.language import tr

FONT = "DejaVu Sans"  # on every system that QGIS installs on Debian; others fall back to their own
LEFT_MM, WIDTH_MM = 15.0, 180.0


class Page:
    """One page of a layout, on which items are put; all lengths in millimetres from its upper left corner."""

    def __init__(self, layout: QgsLayout, number: int = 0):
        self.layout, self.number = layout, number

    def place(self, item, left, top, width, height):
        """Adds an item and gives it its place and size."""
        self.layout.addLayoutItem(item)
        millimetres = QgsUnitTypes.LayoutUnit.LayoutMillimeters
        item.attemptMove(QgsLayoutPoint(left, top, millimetres), True, False, self.number)
        item.attemptResize(QgsLayoutSize(width, height, millimetres))
        return item

    def text(self, text, top, size, bold=False, left=LEFT_MM, width=WIDTH_MM, height=8.0):
        """Text of `size` points, as it is: QGIS would compute what stands between [% and %]."""
        label = QgsLayoutItemLabel(self.layout)
        label.setText(text.replace("[%", "[% '[%' %]"))
        set_font(label, size, bold)
        return self.place(label, left, top, width, height)

    def frame(self, top, height):
        """An empty frame as wide as the page's text."""
        shape = QgsLayoutItemShape(self.layout)
        shape.setShapeType(QgsLayoutItemShape.Shape.Rectangle)
        return self.place(shape, LEFT_MM, top, WIDTH_MM, height)

    def picture(self, path, top, height, left=LEFT_MM, width=WIDTH_MM):
        """A picture file, as large as it fits."""
        picture = QgsLayoutItemPicture(self.layout)
        picture.setPicturePath(str(path))
        return self.place(picture, left, top, width, height)


def page_font(size: float, bold=False) -> QFont:
    """The font of all pages."""
    font = QFont(FONT)
    font.setPointSizeF(size)
    font.setBold(bold)
    return font


def set_font(item, size: float, bold=False) -> None:
    """Gives a label, scale bar or style of a legend its font."""
    font = page_font(size, bold)
    if hasattr(item, "setTextFormat"):
        text_format = item.textFormat()
        text_format.setFont(font)
        text_format.setSize(size)
        item.setTextFormat(text_format)
    else:  # QGIS 3.22
        item.setFont(font)


def style_scanned(layer) -> None:
    """White on the grey of the map. (The hatching of the main map comes out of place in a PDF.)"""
    layer.setRenderer(QgsSingleSymbolRenderer(QgsFillSymbol.createSimple({"color": "#ffffff", "outline_style": "no"})))


def write_in_place(path, write, what: str) -> None:
    """Has `write(temporary path)` make a PDF and moves it to `path`; `what` names it in the sentence if that fails."""
    path = Path(path)
    part = path.with_name(f".{path.name}.part.pdf")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not write(part):
            raise ProcessingError(
                tr("{what} cannot be written to {path}; choose another place for it.", what=what, path=path)
            )
        if not part.read_bytes().rstrip().endswith(b"%%EOF"):  # Qt does not tell that it had no room for the rest
            raise disk_is_full(path)
        part.replace(path)
    except OSError as error:
        raise ProcessingError(
            tr(
                "{path} cannot be replaced ({reason}); close it, then run this again.",
                path=path,
                reason=error.strerror,
            )
        ) from error
    finally:
        part.unlink(missing_ok=True)
