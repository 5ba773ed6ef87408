"""Circles as wide as the hole, in a size of their own in legends."""

from qgis.core import QgsMarkerSymbol, QgsProperty, QgsSimpleMarkerSymbolLayer, QgsSymbolLayer, QgsUnitTypes

from ...processing.store.schema import PENETRATION_VERDICTS

LEGEND_MM = 3.5


def hole_symbol(properties) -> QgsMarkerSymbol:
    """A symbol of two circles with these properties of a simple marker.

    The first has the diameter in the field `diameter_m`. The second is for legends, which know no hole and would else draw
    circles of metres, and for holes whose diameter is missing.
    """
    circle = {"name": "circle", **properties}
    true_size = QgsSimpleMarkerSymbolLayer.create({**circle, "size": "0.001"})
    true_size.setSizeUnit(QgsUnitTypes.RenderUnit.RenderMapUnits)
    true_size.setDataDefinedProperty(
        QgsSymbolLayer.Property.PropertySize, QgsProperty.fromField(PENETRATION_VERDICTS.diameter_m)
    )
    in_legends = QgsSimpleMarkerSymbolLayer.create({**circle, "size": str(LEGEND_MM)})
    missing = QgsProperty.fromExpression(f'coalesce("{PENETRATION_VERDICTS.diameter_m}", 0) <= 0')
    in_legends.setDataDefinedProperty(QgsSymbolLayer.Property.PropertyLayerEnabled, missing)
    symbol = QgsMarkerSymbol()
    symbol.changeSymbolLayer(0, true_size)
    symbol.appendSymbolLayer(in_legends)
    return symbol
