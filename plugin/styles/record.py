"""How an answer of a record is drawn besides its items: unknown ground, openings, holes that were checked."""

from qgis.core import (
    QgsMarkerSymbol,
    QgsSimpleLineSymbolLayer,
    QgsSingleSymbolRenderer,
)
from qgis.PyQt.QtGui import QColor

from .hatching import hatching
from .labels import label


def style_unknown_ground(layer) -> None:
    """Hatched as what was not scanned is on a survey's map, with an outline and the reason."""
    symbol = hatching("91,100,114,150", 0.2, 3.0)
    symbol.appendSymbolLayer(QgsSimpleLineSymbolLayer(QColor("#5b6472"), 0.3))
    layer.setRenderer(QgsSingleSymbolRenderer(symbol))
    label(layer, "'unknown: ' || \"why\"", 7.0, smallest_scale=120.0)


def style_verifications(layer) -> None:
    """A square where the concrete was opened, with the date."""
    square = QgsMarkerSymbol.createSimple(
        {"name": "square", "color": "#ffffff", "outline_color": "#000000", "outline_width": "0.5", "size": "3"}
    )
    layer.setRenderer(QgsSingleSymbolRenderer(square))
    label(layer, '"outcome" || \' \' || "verified_on"', 7.0, smallest_scale=60.0)
