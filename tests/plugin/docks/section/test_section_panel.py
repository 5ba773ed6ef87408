"""The section panel over a real result: axes, cursor both ways, picks with undo, the curve, drawn sections."""

from dataclasses import replace

import numpy as np
import pytest
import surveys
from qgis.core import QgsFeatureRequest, QgsPointXY, QgsVectorLayer
from qgis.PyQt.QtCore import QEvent, QPoint, QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QMouseEvent, QWheelEvent
from qgis.PyQt.QtWidgets import QApplication

from inslab.plugin.docks.section.axes import AxesPainter, label_of, round_steps
from inslab.plugin.docks.section.marks import PICK
from inslab.plugin.docks.section.picks import PickEditor
from inslab.plugin.project.background import WorkTask
from inslab.processing.area import compute
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import read_layer
from inslab.processing.views.section import SectionSource

NUMBERS = ("depth_m", "local_x_m", "local_y_m", "sigma_along_m", "sigma_depth_m")
LINE = ("A1", "X02", "across")  # at local y = 0.2, from x = 0 to 0.8


@pytest.fixture
def panel(desk, shown, qtbot):
    panel = desk.show("section_panel")
    panel.view.setFixedSize(800, 350)
    return panel


def composed(panel, qtbot):
    qtbot.waitUntil(lambda: panel.task is None, timeout=60000)
    assert panel.section is not None, panel.footer.text()


@pytest.fixture
def on_line(panel, shown, qtbot):
    panel.show_line(shown.plane, *LINE)
    composed(panel, qtbot)
    return panel


def move_mouse(view, point, pressed=False):
    """What Qt tells a widget when the mouse moves; no window is shown in which it could be moved."""
    buttons = Qt.MouseButton.LeftButton if pressed else Qt.MouseButton.NoButton
    none = Qt.MouseButton.NoButton
    event = QMouseEvent(QEvent.Type.MouseMove, QPointF(point), none, buttons, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(view, event)


def drag(qtbot, view, start, end):
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=start.toPoint())
    move_mouse(view, end, pressed=True)
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=end.toPoint())


def to_map(x, y):
    return QgsPointXY(*surveys.to_site("A1", (x, y)))


def picks_of_line(layer):
    request = QgsFeatureRequest().setFilterExpression("area_id = 'A1' and line_id = 'X02'")
    return {feature["pick_id"]: feature for feature in layer.getFeatures(request)}


def test_clicking_a_line_on_the_map_shows_its_radargram(panel, shown, qtbot):
    shown.canvas.setExtent(shown.plane.layer("scan_areas").extent())
    panel.bar.choose.trigger()
    assert shown.canvas.mapTool() is panel.line_tool
    assert not panel.line_tool.choose(QgsPointXY(0, 0))
    assert panel.line_tool.choose(to_map(0.33, 0.2004))
    composed(panel, qtbot)
    assert (panel.section.line.area_id, panel.section.line.line_id) == ("A1", "X02")
    assert "line X02" in panel.footer.text()
    assert not panel.view.grab().isNull()


def test_axes_tell_metres_nanoseconds_and_depth(on_line):
    view = on_line.view
    axes = AxesPainter(None, view)
    metres = axes.distance_ticks()
    assert (metres[0], metres[-1][1]) == ((0.0, "0.0"), "0.8")
    assert view.point(0.0, 0.0).x() < view.plot.left() + 10  # half a trace is left of nought
    times, depths = dict(axes.left_ticks()), {label: place for place, label in axes.right_ticks()}
    assert {1.0, 2.0, 3.0} <= set(times)
    # By hand: two legs to a flat reflector 100 mm down, with the dipoles apart.
    speed, apart = on_line.section.speed.speed_m_ns, on_line.section.picture.separation_m
    assert depths["100"] == pytest.approx(np.hypot(0.2, apart) / speed)
    on_line.bar.panels.setCurrentIndex(2)
    assert view.in_depth
    assert (0.1, "100") in [(pytest.approx(value), label) for value, label in axes.left_ticks()]
    assert {label: place for place, label in axes.right_ticks()}["2"] == pytest.approx(
        np.sqrt((2 * speed) ** 2 - apart**2) / 2
    )


def test_ticks_are_round():
    assert round_steps(0.0, 0.8, 8) == pytest.approx([0.1 * n for n in range(9)])
    assert round_steps(-0.4, 6.1, 4) == pytest.approx([0, 2, 4, 6])
    assert round_steps(1.0, 1.0, 5) == []
    assert [label_of(step, [0.0, 0.05]) for step in (0.0, 0.05)] == ["0.00", "0.05"]
    assert label_of(20.0, [0.0, 20.0]) == "20"


def test_what_is_seen_is_what_was_built(on_line, shown):
    """Bars across the line at x = 0.2, 0.4, 0.6, 50 mm deep: items and picks are drawn there, with their uncertainty."""
    items = [mark for mark in on_line.view.marks if mark.what != PICK]
    for place, depth in surveys.BARS["x"]:
        near = min(items, key=lambda mark: abs(mark.distance_m - place))
        assert near.distance_m == pytest.approx(place, abs=0.015)
        assert near.depth_m == pytest.approx(depth, abs=0.008)
        assert 0 < near.sigma_depth_m < 0.02
    picks = [mark for mark in on_line.view.marks if mark.what == PICK]
    assert {mark.label for mark in picks} == set(picks_of_line(shown.plane.layer("picks")))
    assert all(mark.sigma_along_m > 0 and mark.sigma_depth_m > 0 for mark in picks)


def test_the_cursor_is_linked_both_ways(on_line, shown, qtbot):
    view = on_line.view
    at = view.point(0.3, 1.5)
    move_mouse(view, at)
    expected = surveys.to_site("A1", (0.3, 0.2))
    assert on_line.on_map.marker.isVisible()
    assert tuple(on_line.on_map.marker.center()) == pytest.approx(tuple(expected), abs=0.003)
    assert "depth" in on_line.footer.text()
    view.leaveEvent(None)
    assert not on_line.on_map.marker.isVisible()
    assert view.cursor_m is None
    shown.canvas.xyCoordinates.emit(to_map(0.55, 0.23))
    assert view.cursor_m == pytest.approx(0.55, abs=0.003)
    shown.canvas.xyCoordinates.emit(to_map(0.55, 5.0))  # far away
    assert view.cursor_m is None


def test_picks_are_added_moved_and_deleted_with_undo(on_line, shown, qtbot):
    layer, view = shown.plane.layer("picks"), on_line.view
    before = picks_of_line(layer)
    on_line.bar.edit.setChecked(True)
    at = view.point_of_depth(0.31, 0.09)
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=at.toPoint())
    added = picks_of_line(layer).get("A1-hand-1")
    distance, depth = view.depth_at(QPointF(at.toPoint()))
    assert layer.isEditable()
    assert added["source"] == "surveyor"
    assert (added["level"], added["surface"]) == ("Level 1", "top")
    assert (added["depth_m"], added["local_x_m"]) == pytest.approx((depth, distance))
    point = added.geometry().constGet()
    assert (point.x(), point.y()) == pytest.approx(tuple(surveys.to_site("A1", (distance, 0.2))), abs=0.003)
    assert point.z() == pytest.approx(-depth)
    assert added["sigma_depth_m"] >= 0.01
    assert [mark.label for mark in view.marks if mark.is_selected] == ["A1-hand-1"]

    drag(qtbot, view, at, view.point_of_depth(0.35, 0.12))
    moved = picks_of_line(layer)["A1-hand-1"]
    assert (moved["local_x_m"], moved["depth_m"]) == pytest.approx((0.35, 0.12), abs=0.004)
    assert moved.geometry().constGet().z() == pytest.approx(-moved["depth_m"])
    on_line.bar.undo.trigger()
    assert picks_of_line(layer)["A1-hand-1"]["depth_m"] == pytest.approx(depth)  # one step for place and depth
    on_line.bar.redo.trigger()
    assert picks_of_line(layer)["A1-hand-1"]["depth_m"] == pytest.approx(moved["depth_m"])

    name, first = next(iter(before.items()))
    layer.selectByIds([first.id()])
    assert on_line.bar.delete.isEnabled()
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert name not in picks_of_line(layer)
    on_line.bar.undo.trigger()
    assert name in picks_of_line(layer)
    for _ in range(2):
        on_line.bar.undo.trigger()
    assert set(picks_of_line(layer)) == set(before)
    assert not on_line.bar.undo.isEnabled()
    assert layer.rollBack()


def test_an_added_pick_is_saved_and_survives_a_run(on_line, shown):
    layer = shown.plane.layer("picks")
    on_line.editing.add(0.5, 0.1)
    on_line.editing.save()
    assert not layer.isEditable()
    join_items_step(shown.path)
    rows = {row["pick_id"]: (point, row) for point, row in read_layer(shown.path, "picks")}
    kept = [entry for name, entry in rows.items() if entry[1]["source"] == "surveyor"]
    ((point, row),) = kept
    assert row["depth_m"] == pytest.approx(0.1)
    assert point == pytest.approx((*surveys.to_site("A1", (0.5, 0.2)), -0.1), abs=0.003)


def test_looking_adds_nothing(on_line, shown, qtbot):
    before = set(picks_of_line(shown.plane.layer("picks")))
    at = on_line.view.point_of_depth(0.31, 0.09).toPoint()
    qtbot.mouseClick(on_line.view, Qt.MouseButton.LeftButton, pos=at)
    assert set(picks_of_line(shown.plane.layer("picks"))) == before
    assert not shown.plane.layer("picks").isEditable()


def test_after_saving_a_click_adds_no_pick(on_line, shown, qtbot):
    layer, view = shown.plane.layer("picks"), on_line.view
    on_line.bar.edit.setChecked(True)
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=view.point_of_depth(0.31, 0.09).toPoint())
    on_line.bar.save.trigger()
    assert not on_line.bar.edit.isChecked()
    saved = layer.featureCount()
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=view.point_of_depth(0.45, 0.12).toPoint())
    assert (layer.featureCount(), layer.isEditable()) == (saved, False)


def test_zoom_keeps_the_place_under_the_mouse_and_ends_at_the_whole(on_line):
    view = on_line.view
    at = view.point(0.5, 2.0)
    view.zoom(4.0, at)
    assert view.data_at(at) == pytest.approx((0.5, 2.0))
    assert view.shown.width() == pytest.approx(view.picture.shown.width() / 4)
    view.zoom(2.0, at, down=False)
    assert view.shown.height() == pytest.approx(view.picture.shown.height() / 4)
    view.move_by(100.0, 100.0)
    assert view.shown.right() == pytest.approx(view.picture.shown.right())
    view.zoom(0.001, at)
    assert view.shown == view.picture.shown


def test_a_curve_is_dragged_and_tells_speed_and_permittivity(on_line, qtbot):
    on_line.bar.test.setChecked(True)
    view, row = on_line.view, on_line.speed_row
    estimate = on_line.section.speed
    assert view.curve.speed_m_ns == pytest.approx(estimate.speed_m_ns)
    place, depth = surveys.BARS["x"][1]
    apex = view.point(view.curve.apex_m, view.curve.apex_ns)
    target = view.point_of_depth(place, depth)
    drag(qtbot, view, apex, target)
    assert view.curve.apex_m == pytest.approx(place, abs=0.001)  # a pixel
    # The path at the forward model's speed: whoever lays the flank on the echo reads that speed.
    true = replace(view.curve, speed_m_ns=surveys.SPEED_M_NS)
    flank = view.point(place + 0.1, float(view.curve.time_ns(place + 0.1)))
    drag(qtbot, view, flank, view.point(place + 0.1, float(true.time_ns(place + 0.1))))
    assert view.curve.speed_m_ns == pytest.approx(surveys.SPEED_M_NS, rel=0.02)  # a pixel
    assert row.speed.value() == pytest.approx(view.curve.speed_m_ns, abs=1e-4)
    row.speed.setValue(surveys.SPEED_M_NS)
    assert f"relative permittivity {surveys.PERMITTIVITY:.2f}" in row.text()
    assert f"{estimate.speed_m_ns:.4f} ± {estimate.sigma_m_ns:.4f} m/ns" in row.text()
    row.speed.setValue(0.1)
    assert view.curve.speed_m_ns == 0.1
    assert not view.grab().isNull()
    on_line.bar.test.setChecked(False)
    assert view.curve is None


def test_the_selected_item_or_pick_is_shown_where_it_is_seen_best(panel, shown, qtbot):
    panel.show_selected()
    assert "Select a pick, an item" in panel.footer.text()
    items, picks = shown.plane.layer("items"), shown.plane.layer("picks")
    item = next(items.getFeatures())
    items.selectByIds([item.id()])
    panel.bar.selected.trigger()
    composed(panel, qtbot)
    assert item["item_id"] in {mark.label for mark in panel.view.marks if mark.is_selected}
    items.removeSelection()
    pick = next(picks.getFeatures(QgsFeatureRequest().setFilterExpression("area_id = 'A2'")))
    picks.selectByIds([pick.id()])
    panel.show_selected()
    composed(panel, qtbot)
    assert (panel.section.line.area_id, panel.section.line.line_id) == ("A2", pick["line_id"])
    (mark,) = [mark for mark in panel.view.marks if mark.is_selected]
    assert panel.view.cursor_m == pytest.approx(mark.distance_m, abs=0.003)


def test_a_line_selected_in_its_table_and_its_neighbours(panel, shown, qtbot):
    lines = shown.plane.layer("scan_lines")
    request = "area_id = 'A1' and line_id = 'X05' and dipole_axis = 'along'"
    lines.selectByExpression(request)
    panel.show_selected()
    composed(panel, qtbot)
    assert panel.section.line.name == "X05 along"
    qtbot.keyClick(panel.view, Qt.Key.Key_PageUp)
    composed(panel, qtbot)
    assert panel.section.line.name == "X04 along"
    panel.show_neighbour(1)
    composed(panel, qtbot)
    assert panel.section.line.name == "X05 along"


def test_a_line_of_an_area_without_a_position_is_edited(project, survey_copy, tmp_path, monkeypatch):
    """Without control points: no place on the map, but a radargram, and picks in local coordinates."""
    table = survey_copy / "control_points.csv"
    table.write_text(table.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    path = tmp_path / "survey.gpkg"
    read_survey_step(survey_copy, path)
    monkeypatch.setattr(compute, "wave_speed", lambda *_: surveys.true_speed("A1"))
    rows = [row for _, row in read_layer(path, "scan_lines") if row["line_id"] == "X02"]
    section = SectionSource(path).of_line("A1", "X02", "across")
    assert rows
    assert not section.is_placed
    assert np.isnan(section.reliable_m).all()
    layer = QgsVectorLayer("PointZ?crs=EPSG:25832", "picks", "memory")
    names = ("pick_id:string", "area_id:string", "line_id:string", *(f"{name}:double" for name in NUMBERS))
    layer.dataProvider().addAttributes(QgsVectorLayer("Point?field=" + "&field=".join(names), "f", "memory").fields())
    layer.updateFields()
    editor = PickEditor(layer, section)
    fid = editor.add(0.3, 0.07)
    (mark,) = editor.marks()
    assert (mark.distance_m, mark.depth_m, mark.label) == (pytest.approx(0.3), pytest.approx(0.07), "A1-hand-1")
    assert not layer.getFeature(fid).hasGeometry()
    editor.move(fid, 0.5, 0.08)
    assert editor.marks()[0].distance_m == pytest.approx(0.5)
    layer.rollBack()


def test_wheel_and_keys_magnify_and_move(on_line, qtbot):
    view = on_line.view
    whole = QRectF(view.shown)
    centre = view.plot.center()
    turn = QWheelEvent(
        centre,
        centre,
        QPoint(),
        QPoint(0, 120),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.ControlModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(view, turn)
    assert view.shown.width() == pytest.approx(whole.width() / 1.25)
    assert view.shown.height() == pytest.approx(whole.height())
    qtbot.keyClick(view, Qt.Key.Key_Plus)
    assert view.shown.height() == pytest.approx(whole.height() / 1.25)
    before = view.shown.left()
    qtbot.keyClick(view, Qt.Key.Key_Left)
    assert view.shown.left() < before
    qtbot.keyClick(view, Qt.Key.Key_Home)
    assert view.shown == whole


def test_closing_takes_the_line_off_the_map(on_line, shown):
    assert on_line.on_map.path is not None
    on_line.close()
    assert on_line.on_map.path is None
    on_line.closedStateChanged.emit(False)  # opened again; the window of the tests itself is never shown
    assert on_line.on_map.path is on_line.section.path


def test_an_item_without_picks_is_shown_in_a_line_that_crosses_it(panel, shown, qtbot):
    items, picks = shown.plane.layer("items"), shown.plane.layer("picks")
    item = next(items.getFeatures())
    picks.startEditing()
    picks.deleteFeatures([pick.id() for pick in picks.getFeatures() if pick["item_id"] == item["item_id"]])
    items.selectByIds([item.id()])
    panel.show_selected()
    composed(panel, qtbot)
    assert item["item_id"] in {mark.label for mark in panel.view.marks if mark.is_selected}
    picks.rollBack()


def test_an_item_that_must_be_checked_is_marked(panel, shown, qtbot):
    items = shown.plane.layer("items")
    item = next(items.getFeatures())
    items.startEditing()
    items.changeAttributeValue(item.id(), items.fields().indexOf("flag"), "seen in one direction only")
    items.selectByIds([item.id()])
    panel.show_selected()
    composed(panel, qtbot)
    assert {mark.label for mark in panel.view.marks if mark.is_selected and mark.what != PICK} == {
        f"! {item['item_id']}"
    }
    items.rollBack()


def test_a_drawn_section_cuts_the_slices(panel, shown, qtbot):
    panel.bar.draw.trigger()
    tool = panel.section_tool
    assert shown.canvas.mapTool() is tool
    ends = [to_map(0.05, 0.3), to_map(0.75, 0.3)]
    tool._points.extend(ends)
    tool.canvasDoubleClickEvent(None)
    composed(panel, qtbot)
    section = panel.section
    assert section.line is None
    assert section.path.length_m == pytest.approx(0.7)
    values = section.panels[0].values
    shallow = np.nanmax(values[:, section.panels[0].vertical < 0.1], axis=1)
    for place, _depth in surveys.BARS["x"]:  # a bar stands out at its place
        column = np.argmin(np.abs(section.panels[0].distance_m - (place - 0.05)))
        between = np.argmin(np.abs(section.panels[0].distance_m - (place + 0.05)))
        assert shallow[column] > shallow[between]
    assert not panel.bar.edit.isEnabled()
    assert panel.view.in_depth
    assert np.nanmax(section.reliable_m) > 0.1
    assert not panel.view.grab().isNull()
    panel.editing.add(0.2, 0.05)
    assert "choose one to add" in panel.footer.text()


def test_the_other_dipole_axis_of_a_pass(on_line, qtbot):
    assert [on_line.bar.axes.itemData(i) for i in range(on_line.bar.axes.count())] == ["across", "along"]
    on_line.bar.axes.setCurrentIndex(on_line.bar.axes.findData("along"))
    composed(on_line, qtbot)
    assert on_line.section.line.dipole_axis == "along"


def test_a_task_never_raises():
    def fail(_monitor):
        raise RuntimeError("nobody expected this")

    task = WorkTask("t", fail, lambda _task: None)
    assert task.run() is False
    assert "Internal error (RuntimeError: nobody expected this)" in task.sentence


def test_layers_that_go_take_the_section_with_them(on_line, shown, qtbot):
    shown.project.removeMapLayer(shown.plane.layer("picks").id())
    assert on_line.section is None
    assert on_line.editing.editor is None
    assert not on_line.view.grab().isNull()


def test_it_lets_go_when_it_is_closed(on_line, desk, shown, qtbot):
    on_line.show_line(shown.plane, "A2", "X00", "across")  # still being composed
    items = len(shown.canvas.scene().items())
    desk.close()
    assert len(shown.canvas.scene().items()) == items - 4  # two lines, a marker, the line being drawn
    shown.canvas.xyCoordinates.emit(to_map(0.5, 0.2))
    shown.project.clear()
    qtbot.wait(50)


def test_what_lies_below_the_marks_is_drawn_once_for_what_is_looked_at(on_line):
    """Kept while the cursor moves; never shown for another part, size or section."""
    view = on_line.view
    before = view.grab().toImage()
    ground = view._ground.pixmap().cacheKey()
    view.show_cursor(0.4)
    assert view.grab().toImage() != before
    assert view._ground.pixmap().cacheKey() == ground
    view.show_cursor(None)
    assert view.grab().toImage() == before
    for change in (lambda: view.zoom(2.0, view.plot.center()), lambda: view.setFixedSize(700, 300)):
        change()
        assert view._ground.pixmap().cacheKey() != ground
        ground = view._ground.pixmap().cacheKey()
        kept = view.grab().toImage()
        view._ground = type(view._ground)(view)
        assert view.grab().toImage() == kept
