"""Verdicts can be told apart with and without colour, and unknown never looks like clear."""

import pytest
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsExpression,
    QgsExpressionContext,
    QgsFeature,
    QgsGeometry,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsPointXY,
    QgsRasterLayer,
    QgsRectangle,
    QgsSymbolLayerUtils,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

from inslab.plugin.styles.penetrations import (
    VERDICT_LABEL,
    style_chase,
    style_clear_space,
    style_verdicts,
    verdict_symbol,
)
from inslab.processing.common.vocabulary.verdicts import VERDICTS
from inslab.processing.site.crs import local_crs_wkt


def grey(colour, opacity):
    """Luma of a colour over white, 0 to 255 (ITU-R BT.601)."""
    red, green, blue = QColor(colour).getRgb()[:3]
    return (1 - opacity) * 255 + opacity * (0.299 * red + 0.587 * green + 0.114 * blue)


def test_unknown_is_lighter_than_all_others_and_has_an_outline_of_its_own():
    shades = {key: grey(verdict.colour, verdict.opacity) for key, verdict in VERDICTS.items()}
    assert shades.pop("unknown") > max(shades.values()) + 50
    outlines = [verdict.outline for verdict in VERDICTS.values()]
    assert outlines.count(VERDICTS["unknown"].outline) == 1


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


@pytest.mark.parametrize(("dpi", "pixel_m"), [(96.0, 0.01), (192.0, 0.01), (96.0, 0.002)])
def test_holes_are_drawn_in_their_true_size(qgis_app, dpi, pixel_m):
    """0.3 m wide: 0.3 / pixel size in pixels, whatever the resolution."""
    crs = QgsCoordinateReferenceSystem.fromWkt(local_crs_wkt())
    points = QgsVectorLayer(
        "Point?field=penetration_id:string&field=verdict:string&field=diameter_m:double", "", "memory"
    )
    points.setCrs(crs)
    feature = QgsFeature(points.fields())
    feature.setAttributes(["P1", "hits", 0.3])
    feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(0.0, 0.0)))
    points.dataProvider().addFeature(feature)
    style_verdicts(points)
    points.setLabelsEnabled(False)
    settings = QgsMapSettings()
    settings.setDestinationCrs(crs)
    settings.setLayers([points])
    settings.setOutputDpi(dpi)
    settings.setOutputSize(QSize(300, 300))
    settings.setExtent(QgsRectangle(-150 * pixel_m, -150 * pixel_m, 150 * pixel_m, 150 * pixel_m))
    settings.setEllipsoid("NONE")
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    row = [job.renderedImage().pixelColor(column, 150) != QColor("#ffffff") for column in range(300)]
    rim = 0.6 / 25.4 * dpi  # the outline lies half outside on either side
    assert sum(row) == pytest.approx(min(0.3 / pixel_m + rim, 300), abs=2.5)


@pytest.mark.parametrize("verdict", VERDICTS)
def test_legends_have_a_circle_of_their_own_size(qgis_app, verdict):
    """3.5 mm at 96 dots to an inch of 25.4 mm are 13 pixels; the outline adds up to 3, smooth edges 2."""
    picture = QgsSymbolLayerUtils.symbolPreviewPixmap(verdict_symbol(verdict), QSize(60, 60)).toImage()
    drawn = [column for column in range(60) if picture.pixelColor(column, 30).alpha()]
    assert 13 <= drawn[-1] - drawn[0] + 1 <= 18


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
