"""How a drawing looks under a survey: thin and grey, with its texts."""

from qgis.core import (
    QgsFillSymbol,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsProperty,
    QgsSingleSymbolRenderer,
    QgsUnitTypes,
    QgsVectorLayerSimpleLabeling,
    QgsWkbTypes,
)

from .labels import text_format

GREY = "#6d7480"


def style_drawing(layer) -> None:
    """One layer of a fitted drawing, by its kind of geometry."""
    kind = layer.geometryType()
    if kind == QgsWkbTypes.GeometryType.LineGeometry:
        symbol = QgsLineSymbol.createSimple({"color": GREY, "width": "0.15"})
    elif kind == QgsWkbTypes.GeometryType.PolygonGeometry:
        symbol = QgsFillSymbol.createSimple({"color": "109,116,128,40", "outline_color": GREY, "outline_width": "0.15"})
    else:
        symbol = QgsMarkerSymbol.createSimple({"name": "cross", "color": GREY, "outline_color": GREY, "size": "0.6"})
        _write_texts(layer)
    layer.setRenderer(QgsSingleSymbolRenderer(symbol))


def _write_texts(layer) -> None:
    """The drawing's texts in their own height and direction."""
    settings = QgsPalLayerSettings()
    settings.fieldName = "text"
    form = text_format(1.0, GREY)
    form.setSizeUnit(QgsUnitTypes.RenderUnit.RenderMapUnits)
    settings.setFormat(form)
    properties = settings.dataDefinedProperties()
    properties.setProperty(
        QgsPalLayerSettings.Property.Size, QgsProperty.fromExpression('coalesce("text_height_m", 0.3)')
    )
    properties.setProperty(
        QgsPalLayerSettings.Property.LabelRotation, QgsProperty.fromExpression('-coalesce("text_angle_deg", 0)')
    )
    settings.setDataDefinedProperties(properties)
    settings.placement = QgsPalLayerSettings.Placement.OverPoint
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)
