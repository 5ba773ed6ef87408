"""Colours and patterns: from the published palettes, and different in more than colour."""

from itertools import combinations

import pytest
from qgis.core import QgsStyle
from qgis.PyQt.QtGui import QColor

from inslab.plugin.styles import items, slices
from inslab.processing.items.model import KINDS

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


def test_every_kind_has_a_style():
    assert tuple(items.KIND_STYLES) == KINDS


def test_colours_are_those_of_the_published_palette():
    found = [QColor(colour).getRgb()[:3] for _name, colour, _width, _dashes in items.KIND_STYLES.values()]
    assert set(found) <= OKABE_ITO
    assert len(set(found)) == len(found)


@pytest.mark.parametrize(("one", "other"), list(combinations(items.KIND_STYLES, 2)))
def test_kinds_differ_without_colour(one, other):
    _name, _colour, width, dashes = items.KIND_STYLES[one]
    _name, _colour, other_width, other_dashes = items.KIND_STYLES[other]
    assert dashes != other_dashes or max(width, other_width) >= 2 * min(width, other_width)


@pytest.mark.parametrize("kind", KINDS)
def test_the_strip_shows_the_uncertainty_in_plan(kind):
    symbol = items.item_symbol(kind)
    assert symbol.symbolLayerCount() == 3
    strip = symbol.symbolLayer(0)
    assert strip.widthUnit() == strip.widthUnit().__class__.RenderMapUnits
    assert "sigma_xy_m" in strip.dataDefinedProperties().property(strip.Property.PropertyStrokeWidth).expressionString()


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
