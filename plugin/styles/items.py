"""How items and picks are drawn: one colour, one width and one line pattern for each kind.

They stand in the table of kinds (`processing/common/vocabulary/kinds.py`), with where the colours come from.
"""

from qgis.core import (
    QgsExpression,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsProperty,
    QgsRuleBasedRenderer,
    QgsSimpleLineSymbolLayer,
    QgsSingleSymbolRenderer,
    QgsSymbolLayer,
    QgsUnitTypes,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor

from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS, UNKNOWN_KIND
from ...processing.store.schema import ITEMS
from .depth import ITEM_WITHIN, PICK_WITHIN, fade_others, label_shown
from .labels import text_format

# What a person must look at: the sentence stands in the field. The palette's yellow is no kind's.
FLAGGED = f"coalesce(\"{ITEMS.flag}\", '') <> ''"
FLAG_NAME, FLAG_COLOUR, FLAG_WIDTH_MM = tr("Flagged: check on site"), "#f0e442", 3.2
# Twice 1.96 sigma: the strip that holds the item's line with 95 per cent probability.
STRIP_WIDTH = f'2 * 1.96 * "{ITEMS.sigma_xy_m}"'
# Depth to the top in mm; an item that dips shows both ends.
_LEAST, _MOST = (f'round(1000 * "{name}")' for name in (ITEMS.depth_min_m, ITEMS.depth_max_m))
DEPTH_LABEL = f"if({_LEAST} = {_MOST}, to_string({_LEAST}), {_LEAST} || '–' || {_MOST})"


def item_symbol(kind: str) -> QgsLineSymbol:
    """Strip of 95 per cent in plan, a white casing, and on top the line of the kind."""
    colour, stroke = KINDS[kind].colour, KINDS[kind].on_map
    faint = QColor(colour)
    faint.setAlphaF(0.25)
    strip = QgsSimpleLineSymbolLayer(faint, 0.0)
    strip.setWidthUnit(QgsUnitTypes.RenderUnit.RenderMapUnits)
    strip.setPenCapStyle(Qt.PenCapStyle.FlatCap)
    strip.setDataDefinedProperty(QgsSymbolLayer.Property.PropertyStrokeWidth, QgsProperty.fromExpression(STRIP_WIDTH))
    casing = QgsSimpleLineSymbolLayer(QColor(255, 255, 255, 200), stroke.width_mm + 0.6)
    casing.setPenCapStyle(Qt.PenCapStyle.FlatCap)
    line = QgsSimpleLineSymbolLayer(QColor(colour), stroke.width_mm)
    line.setPenCapStyle(Qt.PenCapStyle.FlatCap)
    if stroke.dashes_mm:
        line.setUseCustomDashPattern(True)
        line.setCustomDashVector(list(stroke.dashes_mm))
        line.setCustomDashPatternUnit(QgsUnitTypes.RenderUnit.RenderMillimeters)
    symbol = QgsLineSymbol()
    symbol.changeSymbolLayer(0, strip)  # a list of layers given to the constructor is not kept alive by QGIS 3.22
    symbol.appendSymbolLayer(casing)
    symbol.appendSymbolLayer(line)
    for number in range(symbol.symbolLayerCount()):
        symbol.symbolLayer(number).setRenderingPass(1)  # after all bands of `flag_symbol`
    fade_others(symbol, ITEM_WITHIN)
    return symbol


def flag_symbol() -> QgsLineSymbol:
    """A yellow band with black edges below the item, wider than any kind."""
    symbol = QgsLineSymbol()
    for number, (colour, width_mm) in enumerate((("#000000", FLAG_WIDTH_MM), (FLAG_COLOUR, FLAG_WIDTH_MM - 0.6))):
        band = QgsSimpleLineSymbolLayer(QColor(colour), width_mm)
        band.setPenCapStyle(Qt.PenCapStyle.FlatCap)
        if number:
            symbol.appendSymbolLayer(band)
        else:
            symbol.changeSymbolLayer(0, band)
    fade_others(symbol, ITEM_WITHIN)
    return symbol


def style_items(layer) -> None:
    """A line for each kind over a band for what is flagged, and the depth to the top in millimetres along each item."""
    root = QgsRuleBasedRenderer.Rule(None)
    known = ", ".join(QgsExpression.quotedString(key) for key in KINDS if key != UNKNOWN_KIND)
    for key, kind in KINDS.items():
        # A kind that was left out or misspelt must not make an item vanish from the map.
        within = (
            f"coalesce(\"{ITEMS.kind}\", '') NOT IN ({known})" if key == UNKNOWN_KIND else f"\"{ITEMS.kind}\" = '{key}'"
        )
        root.appendChild(QgsRuleBasedRenderer.Rule(item_symbol(key), 0, 0, within, kind.title))
    root.appendChild(QgsRuleBasedRenderer.Rule(flag_symbol(), 0, 0, FLAGGED, FLAG_NAME))
    layer.setRenderer(QgsRuleBasedRenderer(root))
    settings = QgsPalLayerSettings()
    settings.fieldName = DEPTH_LABEL
    settings.isExpression = True
    settings.placement = QgsPalLayerSettings.Placement.Line
    settings.setFormat(text_format(7.0))
    settings.scaleVisibility = True
    settings.minimumScale = 30.0  # smaller scales would be all numbers
    properties = settings.dataDefinedProperties()
    properties.setProperty(QgsPalLayerSettings.Property.Show, label_shown(ITEM_WITHIN))
    settings.setDataDefinedProperties(properties)
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)


def style_bridged(layer) -> None:
    """White dashes with black edges over an item where no line saw it."""
    symbol = QgsLineSymbol()
    for number, (colour, width_mm, pattern) in enumerate((("#000000", 1.5, (1.2, 1.2)), ("#ffffff", 0.9, (0.8, 1.6)))):
        dashes = QgsSimpleLineSymbolLayer(QColor(colour), width_mm)
        dashes.setPenCapStyle(Qt.PenCapStyle.FlatCap)
        dashes.setUseCustomDashPattern(True)
        dashes.setCustomDashVector(list(pattern))
        dashes.setDashPatternOffset(-0.2 * number)
        if number:
            symbol.appendSymbolLayer(dashes)
        else:
            symbol.changeSymbolLayer(0, dashes)
    fade_others(symbol, ITEM_WITHIN)
    layer.setRenderer(QgsSingleSymbolRenderer(symbol))


def style_picks(layer) -> None:
    """Small rings: where each item was seen on each line."""
    ring = QgsMarkerSymbol.createSimple(
        {
            "name": "circle",
            "color": "255,255,255,160",
            "outline_color": "#22303f",
            "outline_width": "0.2",
            "size": "1.4",
        }
    )
    fade_others(ring, PICK_WITHIN)
    layer.setRenderer(QgsSingleSymbolRenderer(ring))
    layer.setScaleBasedVisibility(True)
    layer.setMinimumScale(60.0)
