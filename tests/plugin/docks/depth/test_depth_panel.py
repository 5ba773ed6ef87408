"""The depth panel over a real result: bands, items, reliable depth, play, levels, the second map."""

import numpy as np
import pytest
from qgis.core import (
    Qgis,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsRectangle,
)
from qgis.PyQt.QtCore import QPoint, QSize, Qt
from qgis.PyQt.QtGui import QColor, QImage

from inslab.plugin.project import layers
from inslab.plugin.project.shown import ShownPlane
from inslab.plugin.styles import depth, slices
from inslab.processing.store.reading import read_area_depths


@pytest.fixture
def panel(desk, shown, qtbot):
    panel = desk.show("depth_panel")
    panel.refresh()
    return panel


def variables(project):
    scope = QgsExpressionContextUtils.projectScope(project)
    return {name: scope.variable(name) for name in (depth.FROM, depth.TO, depth.OTHERS)}


def dark_pixels(canvas, layer):
    """How many pixels of a map of one layer are not white."""
    settings = QgsMapSettings(canvas.mapSettings())
    settings.setLayers([layer])
    settings.setExtent(layer.extent())
    settings.setOutputSize(QSize(300, 200))
    settings.setOutputDpi(96)
    settings.setBackgroundColor(QColor("white"))
    context = QgsExpressionContext()
    context.appendScopes(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    settings.setExpressionContext(context)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage().convertToFormat(QImage.Format.Format_Grayscale8)
    bits = image.constBits()
    bits.setsize(image.sizeInBytes())
    return int((np.frombuffer(bits, np.uint8) < 128).sum())


def test_stepping_changes_the_band_and_which_items_are_drawn(panel, shown, qtbot):
    layer = shown.plane.layer("slices")
    assert panel.scale.ranges_m == slices.band_ranges_m(layer)
    assert panel.scale.value() == slices.shown_band(layer) - 1
    assert variables(shown.project) == {depth.FROM: None, depth.TO: None, depth.OTHERS: None}  # looking changes nothing
    panel.set_others("hidden")
    panel.margin.setValue(15)
    panel.set_depth(0.055)
    assert slices.shown_band(layer) == 6
    assert layer.name() == "Depth slice 50-60 mm"
    window = variables(shown.project)
    assert (window[depth.FROM], window[depth.TO]) == pytest.approx((0.035, 0.075))
    with_items = dark_pixels(shown.canvas, shown.plane.layer("items"))
    assert with_items > 500  # five bars across
    panel.margin.setValue(0)
    panel.set_depth(0.155)  # nothing lies there
    assert slices.shown_band(layer) == 16
    assert dark_pixels(shown.canvas, shown.plane.layer("items")) < 0.05 * with_items
    assert dark_pixels(shown.canvas, shown.plane.layer("picks")) == 0
    panel.set_others("shown")
    assert dark_pixels(shown.canvas, shown.plane.layer("items")) == pytest.approx(with_items, rel=0.05)


def test_keys_wheel_and_buttons_step(panel, qtbot):
    panel.set_depth(0.0)
    qtbot.keyClick(panel.scale, Qt.Key.Key_Down)
    assert panel.scale.value() == 1
    qtbot.mouseClick(panel.deeper, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(panel.deeper, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(panel.shallower, Qt.MouseButton.LeftButton)
    assert panel.scale.value() == 2
    qtbot.keyClick(panel.scale, Qt.Key.Key_End)
    assert panel.scale.value() == panel.scale.maximum()
    panel.scale.resize(200, 400)
    top, base = panel.scale.ranges_m[7]
    y = round(panel.scale._y((top + base) / 2))
    qtbot.mouseClick(panel.scale, Qt.MouseButton.LeftButton, pos=QPoint(60, y))
    assert panel.scale.value() == 7
    assert panel.scale.range_text() == "70–80 mm"


def test_reliable_depth_is_that_of_the_areas_in_view(panel, shown):
    known = {area_id: one.reliable_m for area_id, one in read_area_depths(shown.path).items()}
    assert panel.reliable.in_view(shown.plane) == (min(known.values()), max(known.values()))
    shown.canvas.setExtent(QgsRectangle(10.2, 20.2, 10.6, 20.4))  # within A1
    assert panel.reliable.in_view(shown.plane) == (known["A1"], known["A1"])
    panel._show_reliable()
    assert panel.scale.reliable_text() == f"reliable to {1000 * known['A1']:.0f} mm"
    shown.canvas.setExtent(QgsRectangle(100, 100, 101, 101))  # no area there
    panel._show_reliable()
    assert panel.scale.reliable_text() == "reliable depth not known"


def test_play_goes_through_all_depths_and_begins_again(panel, qtbot):
    panel._timer.setInterval(1)
    panel.scale.setValue(panel.scale.maximum() - 1)
    seen = []
    panel.scale.valueChanged.connect(seen.append)
    panel.play.setChecked(True)
    qtbot.waitUntil(lambda: len(seen) >= 3)
    panel.play.setChecked(False)
    assert seen[:3] == [panel.scale.maximum(), 0, 1]
    assert not panel._timer.isActive()


def test_choosing_a_level_switches_the_groups(panel, shown, project):
    root = project.layerTreeRoot()
    other = root.addGroup("Level 2")
    for name in ("items", "scan_areas", "slices"):
        copy = shown.plane.layer(name).clone()
        copy.setCustomProperty(layers.KEY, f"{shown.path}|Level 2|{name}")
        project.addMapLayer(copy, False)
        other.addLayer(copy)
    panel.refresh()
    assert [panel.level.itemText(i) for i in range(panel.level.count())] == ["Level 1", "Level 2"]
    panel.choose_plane(f"{shown.path}|Level 2")
    assert (root.findGroup("Level 1").isVisible(), other.isVisible()) == (False, True)
    assert isinstance(panel.plane, ShownPlane)
    assert panel.plane.title == "Level 2"
    panel.set_depth(0.025)  # one depth for all
    assert slices.shown_band(panel.plane.layer("slices")) == slices.shown_band(shown.plane.layer("slices")) == 3
    shown.canvas.setExtent(QgsRectangle(500, 500, 501, 501))
    panel.choose_plane(shown.plane.key)
    assert shown.canvas.extent().intersects(shown.plane.layer("scan_areas").extent())


def test_two_depths_side_by_side(panel, shown, qtbot):
    shown.canvas.setLayers([shown.plane.layer("items"), shown.plane.layer("slices")])
    panel.set_depth(0.035)
    second = panel.show_second(0.115)
    other = second.canvas.layers()[1]
    assert slices.shown_band(shown.plane.layer("slices")) == 4
    assert (slices.shown_band(other), other.name()) == (12, "Depth slice 110-120 mm")
    assert second.canvas.layers()[0].id() == shown.plane.layer("items").id()
    assert second.canvas.expressionContextScope().variable(depth.FROM) == pytest.approx(0.11)
    shown.canvas.setCenter(shown.plane.layer("scan_areas").extent().center())
    shown.canvas.zoomScale(17)
    assert second.canvas.center().distance(shown.canvas.center()) < 1e-3
    assert second.canvas.scale() == pytest.approx(17, rel=1e-3)
    second.canvas.zoomScale(30)  # not by the mouse: it goes back to what the main map shows
    assert (shown.canvas.scale(), second.canvas.scale()) == pytest.approx((17, 17), rel=1e-3)
    second.canvas.underMouse = lambda: True
    second.canvas.zoomScale(9)
    assert shown.canvas.scale() == pytest.approx(9, rel=1e-3)
    second.close()
    assert panel.second is None
    assert not panel.beside.isChecked()


def test_a_project_without_results_says_so(desk, project, qtbot):
    panel = desk.show("depth_panel")
    assert panel.window is None
    assert not panel.play.isEnabled()
    panel.apply()
    assert not panel.grab().isNull()


def test_it_draws_itself_and_lets_go_when_closed(panel, desk, shown, project):
    panel.show_second(0.05)
    assert not panel.grab().isNull()
    desk.close()
    project.clear()  # would reach a panel that still listens
    shown.canvas.zoomScale(20)


def test_a_project_keeps_its_window(panel, shown):
    panel.margin.setValue(20)
    panel.set_others("hidden")
    panel.set_depth(0.075)
    assert depth.window_of(shown.project) == depth.DepthWindow(pytest.approx(0.05), pytest.approx(0.10), "hidden")
    panel.margin.blockSignals(True)
    panel.margin.setValue(0)
    panel.margin.blockSignals(False)
    panel.refresh()
    assert (panel.margin.value(), panel.others.currentData(), panel.scale.value()) == (20, "hidden", 7)


def test_play_ends_when_the_panel_is_closed(panel):
    panel.play.setChecked(True)
    panel.close()
    assert not panel._timer.isActive()


@pytest.mark.skipif(Qgis.QGIS_VERSION_INT < 33800, reason="QGIS has no elevation control before 3.38")
def test_each_band_tells_its_height(shown):
    layer = shown.plane.layer("slices")
    properties = layer.elevationProperties()
    assert properties.isEnabled()
    height = properties.fixedRangePerBand()[5]
    assert (height.lower(), height.upper()) == pytest.approx((-0.05, -0.04))
