"""Ground that is unknown, hatched the same way on every map."""

from qgis.core import QgsFillSymbol, QgsLinePatternFillSymbolLayer, QgsLineSymbol


def hatching(color: str, width_mm: float, distance_mm: float) -> QgsFillSymbol:
    """Lines at 45 degrees; `color` as red, green, blue and alpha with commas between."""
    lines = QgsLinePatternFillSymbolLayer()
    lines.setSubSymbol(QgsLineSymbol.createSimple({"color": color, "width": str(width_mm)}))
    lines.setLineAngle(45.0)
    lines.setDistance(distance_mm)
    symbol = QgsFillSymbol()
    symbol.changeSymbolLayer(0, lines)
    return symbol
