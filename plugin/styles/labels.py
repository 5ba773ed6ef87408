"""Text on the map."""

from qgis.core import (
    Qgis,
    QgsPalLayerSettings,
    QgsProperty,
    QgsTextBufferSettings,
    QgsTextFormat,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QColor, QFont


def text_format(size_pt: float, colour: str = "#000000", bold: bool = False) -> QgsTextFormat:
    """Text with a white rim, legible on a drawing and on a depth slice."""
    font = QFont("DejaVu Sans")  # on every system that QGIS installs on Debian; others fall back to their own
    font.setBold(bold)
    rim = QgsTextBufferSettings()
    rim.setEnabled(True)
    rim.setSize(0.7)
    rim.setColor(QColor("#ffffff"))
    text = QgsTextFormat()
    text.setFont(font)
    text.setSize(size_pt)
    text.setColor(QColor(colour))
    text.setBuffer(rim)
    return text


def always_shown(settings: QgsPalLayerSettings) -> None:
    """Before other labels, and over them rather than not at all."""
    if hasattr(settings, "placementSettings"):
        settings.placementSettings().setOverlapHandling(Qgis.LabelOverlapHandling.AllowOverlapIfRequired)
    else:  # QGIS 3.22
        settings.displayAll = True
    settings.priority = 10


def draw_in_order(layer) -> None:
    """Labels one after the other as the features are stored; those of equal size come in any order otherwise."""
    if layer.labeling() is None:
        return
    settings = layer.labeling().settings()
    properties = settings.dataDefinedProperties()
    properties.setProperty(QgsPalLayerSettings.Property.ZIndex, QgsProperty.fromExpression("$id"))
    settings.setDataDefinedProperties(properties)
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))


def label(layer, expression, size_pt, bold=False, placement=None, smallest_scale=None) -> None:
    """Write the value of an expression at each feature, from the scale 1 : `smallest_scale` on."""
    settings = QgsPalLayerSettings()
    settings.fieldName = expression
    settings.isExpression = True
    settings.setFormat(text_format(size_pt, bold=bold))
    if placement is not None:
        settings.placement = placement
    if smallest_scale is not None:
        settings.scaleVisibility = True
        settings.minimumScale = smallest_scale
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)
