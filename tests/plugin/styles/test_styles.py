"""Colours and patterns: from the published palettes, and different in more than colour."""

from itertools import combinations

import pytest
from qgis.core import (
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsRenderContext,
    QgsStyle,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QColor

from inslab.plugin.styles import items, slices
from inslab.processing.common.vocabulary.kinds import KINDS

# M. Okabe, K. Ito, "Color Universal Design (CUD)", 2008, fig. 16: the eight colours, R G B.
OKABE_ITO = {
    (0, 0, 0),
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
}


def test_colours_are_those_of_the_published_palette():
    found = [QColor(kind.colour).getRgb()[:3] for kind in KINDS.values()]
    assert set(found) <= OKABE_ITO
    assert len(set(found)) == len(found)


@pytest.mark.parametrize(("one", "other"), list(combinations(KINDS, 2)))
def test_kinds_differ_without_colour(one, other):
    for strokes in (KINDS[one].on_map, KINDS[other].on_map), (KINDS[one].in_drawing, KINDS[other].in_drawing):
        width, other_width = (stroke.width_mm for stroke in strokes)
        assert strokes[0].dashes_mm != strokes[1].dashes_mm or max(width, other_width) >= 2 * min(width, other_width)


@pytest.mark.parametrize("kind", KINDS)
def test_the_strip_shows_the_uncertainty_in_plan(kind):
    symbol = items.item_symbol(kind)
    assert symbol.symbolLayerCount() == 3
    strip = symbol.symbolLayer(0)
    assert strip.widthUnit() == strip.widthUnit().__class__.RenderMapUnits
    assert "sigma_xy_m" in strip.dataDefinedProperties().property(strip.Property.PropertyStrokeWidth).expressionString()


def test_what_is_flagged_has_a_symbol_of_its_own_under_the_item():
    """Wider than any kind, in a colour of the palette that no kind has, drawn before all items."""
    band = items.flag_symbol()
    assert QColor(items.FLAG_COLOUR).getRgb()[:3] in OKABE_ITO
    assert items.FLAG_COLOUR not in {kind.colour for kind in KINDS.values()}
    assert band.symbolLayer(1).width() > max(kind.on_map.width_mm for kind in KINDS.values()) + 0.6
    item = items.item_symbol("bar")
    assert {layer.renderingPass() for layer in band.symbolLayers()} == {0}
    assert {layer.renderingPass() for layer in item.symbolLayers()} == {1}


@pytest.mark.parametrize(
    ("kind", "flag", "names"),
    [
        ("bar", None, ["Bar"]),
        ("bar", "", ["Bar"]),
        ("tendon", "Item A1-2 beside it differs.", ["Tendon", "Flagged: check on site"]),
        ("unknown", None, ["Kind unknown"]),
        (None, None, ["Kind unknown"]),
        ("tendom", "see", ["Kind unknown", "Flagged: check on site"]),
    ],
)
def test_no_item_goes_undrawn_and_flags_are_shown(qgis_app, kind, flag, names):
    layer = QgsVectorLayer("LineString?field=kind:string&field=flag:string", "items", "memory")
    items.style_items(layer)
    feature = QgsFeature(layer.fields())
    feature.setAttributes([kind, flag])
    feature.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(0, 0), QgsPointXY(1, 0)]))
    context = QgsRenderContext()
    context.setExpressionContext(QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer)))
    renderer = layer.renderer()
    renderer.startRender(context, layer.fields())
    context.expressionContext().setFeature(feature)
    drawn = renderer.legendKeysForFeature(feature, context)
    renderer.stopRender(context)
    assert sorted(item.label() for item in renderer.legendSymbolItems() if item.ruleKey() in drawn) == sorted(names)


def test_the_ramp_is_viridis_turned_round(qgis_app):
    # QGIS ships viridis among its default ramps; every ninth of it, read from strong to weak.
    style = QgsStyle.defaultStyle()
    ramp = style.colorRamp("Viridis")
    assert ramp is not None
    for number, colour in enumerate(slices.VIRIDIS_REVERSED):
        wanted = ramp.color(1 - number / 9)
        found = QColor(colour)
        for part in ("red", "green", "blue"):
            assert getattr(found, part)() == pytest.approx(getattr(wanted, part)(), abs=4)


def test_the_ramp_darkens_all_the_way():
    lightness = [QColor(colour).toHsl().lightness() for colour in slices.VIRIDIS_REVERSED]
    grey = [
        0.299 * QColor(c).red() + 0.587 * QColor(c).green() + 0.114 * QColor(c).blue() for c in slices.VIRIDIS_REVERSED
    ]
    assert grey == sorted(grey, reverse=True)
    assert lightness[-1] < lightness[0]
