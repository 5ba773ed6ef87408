"""Verdicts can be told apart with and without colour, and unknown never looks like clear."""

import pytest
from qgis.core import (
    QgsExpression,
    QgsExpressionContext,
    QgsFeature,
    QgsRasterLayer,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QColor

from inslab.plugin.styles.penetrations import (
    VERDICT_LABEL,
    VERDICT_STYLES,
    style_chase,
    style_clear_space,
    style_verdicts,
)
from inslab.processing.penetrations.model import VERDICTS


def grey(colour, opacity):
    """Luma of a colour over white, 0 to 255 (ITU-R BT.601)."""
    red, green, blue = QColor(colour).getRgb()[:3]
    return (1 - opacity) * 255 + opacity * (0.299 * red + 0.587 * green + 0.114 * blue)


def test_every_verdict_has_a_style():
    assert tuple(VERDICT_STYLES) == VERDICTS


def test_unknown_is_lighter_than_all_others_and_has_an_outline_of_its_own():
    shades = {name: grey(colour, opacity) for name, (_label, colour, opacity, _outline) in VERDICT_STYLES.items()}
    assert shades.pop("unknown") > max(shades.values()) + 50
    outlines = [style[3] for style in VERDICT_STYLES.values()]
    assert outlines.count(VERDICT_STYLES["unknown"][3]) == 1


@pytest.mark.parametrize(
    ("verdict", "margin", "expected"),
    [
        ("clear", 0.0123, "P1\nclear 12 mm"),
        ("too_close", -0.004, "P1\ntoo close -4 mm"),
        ("unknown", 0.05, "P1\nUNKNOWN"),
    ],
)
def test_the_label(verdict, margin, expected, qgis_app):
    layer = QgsVectorLayer("Point?field=penetration_id:string&field=verdict:string&field=margin_m:double", "", "memory")
    feature = QgsFeature(layer.fields())
    feature.setAttributes(["P1", verdict, margin])
    context = QgsExpressionContext()
    context.setFeature(feature)
    expression = QgsExpression(VERDICT_LABEL)
    assert expression.evaluate(context) == expected, expression.evalErrorString()


def test_layers_take_their_styles(qgis_app):
    points = QgsVectorLayer(
        "Point?field=penetration_id:string&field=verdict:string&field=diameter_m:double", "", "memory"
    )
    style_verdicts(points)
    assert [category.value() for category in points.renderer().categories()] == list(VERDICTS)
    lines = QgsVectorLayer("LineString?field=width_m:double", "", "memory")
    style_chase(lines)
    assert lines.renderer().symbol().symbolLayerCount() == 1


def test_unknown_ground_is_drawn(qgis_app, tmp_path):
    import numpy as np
    import rasterio

    with rasterio.open(
        tmp_path / "r.tif", "w", driver="GTiff", width=2, height=2, count=1, dtype="float32", nodata=-9999.0
    ) as file:
        file.write(np.array([[0.0, 0.1], [0.2, -9999.0]], np.float32), 1)
    layer = QgsRasterLayer(str(tmp_path / "r.tif"), "r")
    style_clear_space(layer, 0.3)
    assert layer.renderer().nodataColor().alpha() > 200
