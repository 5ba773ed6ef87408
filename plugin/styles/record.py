"""How an answer of a record is drawn besides its items: unknown ground, openings, holes that were checked."""

from qgis.core import (
    QgsFillSymbol,
    QgsLinePatternFillSymbolLayer,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsSimpleLineSymbolLayer,
    QgsSingleSymbolRenderer,
)
from qgis.PyQt.QtGui import QColor

from .labels import label


def style_unknown_ground(layer) -> None:
    """Hatched as what was not scanned is on a survey's map, with an outline and the reason."""
    hatching = QgsLinePatternFillSymbolLayer()
    hatching.setSubSymbol(QgsLineSymbol.createSimple({"color": "91,100,114,150", "width": "0.2"}))
    hatching.setLineAngle(45.0)
    hatching.setDistance(3.0)
    hatch = QgsFillSymbol()
    hatch.changeSymbolLayer(0, hatching)
    hatch.appendSymbolLayer(QgsSimpleLineSymbolLayer(QColor("#5b6472"), 0.3))
    layer.setRenderer(QgsSingleSymbolRenderer(hatch))
    label(layer, "'unknown: ' || \"why\"", 7.0, smallest_scale=120.0)


def style_verifications(layer) -> None:
    """A square where the concrete was opened, with the date."""
    square = QgsMarkerSymbol.createSimple(
        {"name": "square", "color": "#ffffff", "outline_color": "#000000", "outline_width": "0.5", "size": "3"}
    )
    layer.setRenderer(QgsSingleSymbolRenderer(square))
    label(layer, '"outcome" || \' \' || "verified_on"', 7.0, smallest_scale=60.0)
