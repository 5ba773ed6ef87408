"""How verdicts on penetrations, alternatives, chases and clear space are drawn.

Colours and words of verdicts stand in their table (`processing/common/vocabulary/verdicts.py`); because the outline's pattern and
the letters differ as well, they can still be told apart on a grey print. Unknown is hatched, like the unscanned ground of a survey.
"""

from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsColorRampShader,
    QgsExpression,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsProperty,
    QgsRasterShader,
    QgsRendererCategory,
    QgsSingleBandPseudoColorRenderer,
    QgsSingleSymbolRenderer,
    QgsSymbolLayer,
    QgsUnitTypes,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QColor

from ...processing.common.language import tr
from ...processing.common.vocabulary.verdicts import HITS, UNKNOWN, VERDICTS
from ...processing.store.schema import CHASES, PENETRATION_VERDICTS
from .holes import hole_symbol
from .labels import always_shown, text_format

_CASES = " ".join(
    f"WHEN \"{PENETRATION_VERDICTS.verdict}\" = '{key}' THEN {QgsExpression.quotedString(verdict.word)}"
    for key, verdict in VERDICTS.items()
)
_MARGIN = (
    f"CASE WHEN \"{PENETRATION_VERDICTS.verdict}\" = '{UNKNOWN}' THEN '' "
    f"ELSE coalesce(' ' || round(1000 * \"{PENETRATION_VERDICTS.margin_m}\") || ' mm', '') END"
)
VERDICT_LABEL = f"\"{PENETRATION_VERDICTS.penetration_id}\" || '\\n' || CASE {_CASES} END || {_MARGIN}"
# Six steps of viridis (see `slices`), from a narrow hole to a wide one.
DIAMETER_COLOURS = ("#440154", "#3e4989", "#31688e", "#1f9e89", "#6ece58", "#fde725")


def style_verdicts(layer) -> None:
    """Circles of the drilled diameter, filled by verdict, with the margin in millimetres."""
    categories = [QgsRendererCategory(key, verdict_symbol(key), verdict.title) for key, verdict in VERDICTS.items()]
    layer.setRenderer(QgsCategorizedSymbolRenderer(PENETRATION_VERDICTS.verdict, categories))
    settings = QgsPalLayerSettings()
    settings.fieldName = VERDICT_LABEL
    settings.isExpression = True
    settings.setFormat(text_format(7.0))
    settings.scaleVisibility = True
    settings.minimumScale = 120.0
    always_shown(settings)  # the name of the planned hole at the same place gives way
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
    layer.setLabelsEnabled(True)


def verdict_symbol(verdict: str) -> QgsMarkerSymbol:
    """A circle as wide as the hole."""
    look = VERDICTS[verdict]
    fill = QColor(look.colour)
    return hole_symbol(
        {
            "color": f"{fill.red()},{fill.green()},{fill.blue()},{round(255 * look.opacity)}",
            "outline_color": "#000000",
            "outline_style": look.outline,
            "outline_width": "0.6" if verdict in (HITS, UNKNOWN) else "0.3",
        }
    )


def style_chase(layer) -> None:
    """A band as wide as the chase, with its axis."""
    band = QgsLineSymbol.createSimple({"color": "0,114,178,120", "capstyle": "flat", "joinstyle": "round"})
    band.setOutputUnit(QgsUnitTypes.RenderUnit.RenderMapUnits)
    band.symbolLayer(0).setDataDefinedProperty(
        QgsSymbolLayer.Property.PropertyStrokeWidth, QgsProperty.fromField(CHASES.width_m)
    )
    layer.setRenderer(QgsSingleSymbolRenderer(band))


def style_clear_space(layer, largest_m: float) -> None:
    """Largest diameter by colour; what is unknown has no value and stays empty: the legend says so."""
    stops = []
    for number, colour in enumerate(DIAMETER_COLOURS):
        value = number / (len(DIAMETER_COLOURS) - 1) * largest_m
        label = f"{1000 * value:.0f} mm" if number else tr("0 mm: nothing may be drilled")
        stops.append(QgsColorRampShader.ColorRampItem(value, QColor(colour), label))
    ramp = QgsColorRampShader(0.0, largest_m)
    ramp.setColorRampType(QgsColorRampShader.Type.Interpolated)
    ramp.setColorRampItemList(stops)
    shader = QgsRasterShader()
    shader.setRasterShaderFunction(ramp)
    renderer = QgsSingleBandPseudoColorRenderer(layer.dataProvider(), 1, shader)
    renderer.setClassificationMin(0.0)
    renderer.setClassificationMax(largest_m)
    renderer.setNodataColor(QColor(225, 225, 225, 230))  # unknown is drawn, not left out
    layer.setRenderer(renderer)
