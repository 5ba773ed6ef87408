"""The record panel: places drawn, selected and in view, dates, the answer in three forms, and what changes a record."""

import pytest
import surveys
from algorithms import run
from qgis.core import QgsCoordinateReferenceSystem, QgsFeature, QgsGeometry, QgsPointXY, QgsProject, QgsVectorLayer
from qgis.PyQt.QtCore import QDate, QPoint, Qt
from records import read_record

from inslab.plugin.docks.record.list import NUMBER
from inslab.plugin.record.records import text_of_connection
from inslab.processing.record.store_postgis import DEFAULT_SCHEMA

# Area A1 of the small survey lies at x 10 to 10.8 and y 20 to 20.6 of the site grid.
HALF_OUTSIDE = "POLYGON ((9.6 20.1, 10.4 20.1, 10.4 20.5, 9.6 20.5, 9.6 20.1))"


@pytest.fixture
def record(processed, tmp_path, inslab_provider, qgis_processing):
    path = str(tmp_path / "building.gpkg")
    run("updaterecord", {"SURVEY": processed[0]["SURVEY"], "RECORD": path})
    return path


@pytest.fixture
def panel(desk, shown, record, qtbot):
    panel = desk.show("record_panel")
    panel.open_record(record)
    qtbot.waitUntil(lambda: panel.choice.task is None, timeout=30000)
    return panel


def answered(panel, qtbot):
    qtbot.waitUntil(lambda: panel.task is None, timeout=30000)
    assert panel.answered is not None, panel.controls.sentences.toPlainText()
    return panel.controls.sentences.toPlainText()


def room(project, text=HALF_OUTSIDE, crs=None):
    """A layer with one polygon, which is selected."""
    layer = QgsVectorLayer("Polygon", "rooms", "memory")
    layer.setCrs(crs or project.crs())
    feature = QgsFeature(layer.fields())
    feature.setGeometry(QgsGeometry.fromWkt(text))
    layer.dataProvider().addFeature(feature)
    project.addMapLayer(layer)
    layer.selectAll()
    return layer


def layers_of_answer(panel):
    group = panel.project.layerTreeRoot().findGroup("Answer of the record (temporary)")
    return {node.layer().name(): node.layer() for node in group.findLayers()} if group else {}


def entries(panel):
    rows = panel.controls.rows
    return [rows.topLevelItem(number) for number in range(rows.topLevelItemCount())]


def test_what_it_knows_of_a_room(panel, shown, qgis_iface, qtbot):
    qgis_iface.setActiveLayer(room(shown.project))
    panel.controls.selected.click()
    said = answered(panel, qtbot)
    assert ", for 0.32 m²:" in said
    assert "Never scanned, and therefore unknown, never clear: 0.16 m²" in said
    assert "found by radar alone" in said
    assert "does not guarantee detection" in said
    layers = layers_of_answer(panel)
    assert set(layers) == {"Known items, depth to top in mm", "Unknown ground"}
    assert layers["Unknown ground"].crs() == shown.project.crs()
    assert all(layer.renderer() is not None for layer in layers.values())
    cells = [[entry.text(column) for column in range(5)] for entry in entries(panel)]
    items = [row for row in cells if row[0] != "unknown"]
    assert len(items) == layers["Known items, depth to top in mm"].featureCount() > 0
    assert {row[3] for row in items} == {"radar"}
    assert cells[-1][:4] == ["unknown", "0.16 m²", "", "never scanned"]


def test_a_row_of_the_list_is_shown_on_the_map(panel, shown, qtbot):
    panel.controls.everything.click()
    answered(panel, qtbot)
    entry = entries(panel)[0]
    row = panel.answered.answer.items[entry.data(0, NUMBER)]
    panel.controls.rows.itemClicked.emit(entry, 0)
    xs = [point[0] for point in row["geom"]]
    extent = shown.canvas.extent()
    assert extent.xMinimum() < min(xs)
    assert max(xs) < extent.xMaximum()
    chosen = layers_of_answer(panel)["Known items, depth to top in mm"].selectedFeatures()
    assert [feature["item_id"] for feature in chosen] == [row["item_id"]]


def test_an_area_drawn_on_the_map(panel, shown, qtbot):
    panel.controls.draw_area.defaultAction().trigger()
    assert shown.canvas.mapTool() is panel.asked.area_tool
    assert panel.controls.draw_area.defaultAction().isChecked()
    viewport = shown.canvas.viewport()
    for place in ((40, 40), (120, 40), (120, 120)):
        qtbot.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=QPoint(*place))
    qtbot.mouseClick(viewport, Qt.MouseButton.RightButton, pos=QPoint(60, 120))
    answered(panel, qtbot)
    pixel = shown.canvas.mapUnitsPerPixel()
    assert panel.answered.answer.asked_m2 == pytest.approx(0.5 * (80 * pixel) ** 2, rel=0.02)


def test_a_double_click_ends_a_line_and_starts_no_other(panel, shown, qtbot):
    panel.controls.draw_line.defaultAction().trigger()
    drawn = []
    panel.asked.line_tool._drawn = drawn.append
    viewport = shown.canvas.viewport()
    qtbot.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=QPoint(40, 40))
    qtbot.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=QPoint(120, 40))
    # The second click of two in a row, as Qt tells it: no press, and a release at last.
    qtbot.mouseDClick(viewport, Qt.MouseButton.LeftButton, pos=QPoint(120, 40))
    qtbot.mouseRelease(viewport, Qt.MouseButton.LeftButton, pos=QPoint(120, 40))
    assert len(drawn) == 1
    assert panel.asked.line_tool._points == []


def test_along_a_line_with_a_width_and_a_depth(panel, shown, qtbot):
    panel.controls.width.setValue(0.05)
    panel.controls.depth.setValue(3000)
    panel.asked.ask_drawn([QgsPointXY(10.1, 20.3), QgsPointXY(10.3, 20.3)], "a line", panel.asked.line_tool._kind)
    said = answered(panel, qtbot)
    # By hand: 0.2 m long and 0.05 m wide, with half discs at both ends.
    assert panel.answered.answer.asked_m2 == pytest.approx(0.2 * 0.05 + 3.1416 * 0.025**2, rel=0.02)
    assert "Not seen down to 3000 mm" in said


def test_what_the_map_shows_is_its_whole_ground(panel, shown, qtbot):
    panel.controls.view.click()
    answered(panel, qtbot)
    extent = shown.canvas.mapSettings().visibleExtent()
    assert panel.place.geometry.area() == pytest.approx(extent.area())


def test_as_known_on_a_day_and_asked_again(panel, shown, qtbot):
    panel.controls.view.click()
    answered(panel, qtbot)
    assert panel.answered.answer.items
    panel.controls.known_on.setDate(QDate(2030, 1, 1))
    panel.controls.again.click()
    assert "all of it is unknown" in answered(panel, qtbot)
    assert not entries(panel)
    assert not layers_of_answer(panel)
    assert panel.controls.day() == "2030-01-01"
    panel.controls.known_on.clear()
    assert panel.controls.day() == ""


def test_a_tied_record_is_asked_in_any_coordinates(panel, shown, record, qtbot, monkeypatch):
    from inslab.plugin.record.places import Place
    from inslab.processing.site.crs import GridTie, local_crs_wkt, tied_crs_wkt

    tie = GridTie.from_degrees(500000.0, 5400000.0, 30.0)
    tied = tied_crs_wkt("Site grid", "EPSG:25832", tie)
    corners = [(9.6, 20.1), (10.4, 20.1), (10.4, 20.5), (9.6, 20.5)]
    shape = QgsGeometry.fromPolygonXY([[QgsPointXY(*corner) for corner in tie.to_base(corners)]])
    place = Place("a room", shape, QgsCoordinateReferenceSystem("EPSG:25832"))
    context = QgsProject.instance().transformContext()
    (ring,), line = place.on_grid(tied, context)
    assert line is None
    for found, wanted in zip(ring, corners):
        assert found == pytest.approx(wanted, abs=1e-4)
    # A grid that is tied to nothing is in no relation to any other.
    (ring,), _ = place.on_grid(local_crs_wkt(), context)
    assert ring[0][0] > 400000


def test_what_cannot_be_asked_is_said(panel, shown, qgis_iface, tmp_path, qtbot):
    layer = room(shown.project)
    layer.removeSelection()
    qgis_iface.setActiveLayer(layer)
    panel.controls.selected.click()
    assert "select one" in panel.controls.sentences.toPlainText()
    panel.open_record(str(tmp_path / "none.gpkg"))
    assert "There is no record" in panel.controls.sentences.toPlainText()
    panel.controls.view.click()
    assert "There is no record" in panel.controls.sentences.toPlainText()
    other = tmp_path / "other.gpkg"
    other.write_text("no database", encoding="utf-8")
    panel.open_record(str(other))
    qtbot.waitUntil(lambda: panel.choice.task is None, timeout=30000)
    assert "other.gpkg" in panel.controls.sentences.toPlainText()


def test_levels_and_the_record_are_kept_in_the_project(panel, shown, record):
    assert [panel.controls.level.itemText(n) for n in range(panel.controls.level.count())] == ["all levels", "Level 1"]
    assert panel.controls.level.currentText() == "Level 1"  # that of the survey that the map shows
    panel.choice._chosen()
    assert shown.project.readEntry("inslab", "record")[0] == record


def test_verification_and_update_open_their_dialogs(panel, shown, record, qtbot, monkeypatch):
    from qgis import processing

    opened = []

    class Dialog:
        def __init__(self, algorithm, parameters):
            opened.append((algorithm, parameters))
            self.algorithmFinished = self

        def connect(self, slot):
            self.finish = slot

        def show(self):
            pass

        def close(self):
            pass

    monkeypatch.setattr(processing, "createAlgorithmDialog", Dialog, raising=False)
    panel.controls.everything.click()
    answered(panel, qtbot)
    assert not panel.controls.verify.isEnabled()
    entries(panel)[0].setSelected(True)
    assert panel.controls.verify.isEnabled()
    name = panel.answered.answer.items[0]["item_id"]
    panel.controls.verify.click()
    panel.controls.update_record.click()
    assert opened == [
        ("inslab:verifyitem", {"RECORD": record, "ITEM": name}),
        ("inslab:updaterecord", {"RECORD": record, "SURVEY": shown.plane.survey_path}),
    ]
    run("verifyitem", {"RECORD": record, "ITEM": name, "METHOD": "breakout", "VERIFIED_ON": "2031-09-01"})
    panel._dialog.finish(True, {})
    assert f"Verified by opening or drawing: {name} (2031-09-01)" in answered(panel, qtbot)
    assert entries(panel)[0].text(3) == "verified 2031-09-01"


def test_layers_that_the_user_removed_are_no_hindrance(panel, shown, qtbot):
    panel.controls.view.click()
    answered(panel, qtbot)
    root = shown.project.layerTreeRoot()
    root.removeChildNode(root.findGroup("Answer of the record (temporary)"))
    panel.controls.again.click()
    answered(panel, qtbot)
    assert layers_of_answer(panel)
    row = panel.answered.answer.items[0]
    shown.project.removeMapLayers([layer.id() for layer in layers_of_answer(panel).values()])
    assert panel.on_map.zoom_to(row) == ""
    assert panel.on_map.zoom_to_all() == ""


def test_it_lets_go_when_it_is_closed(panel, desk, shown, qtbot):
    panel.controls.view.click()
    answered(panel, qtbot)
    panel.controls.again.click()  # still being worked out
    items = len(shown.canvas.scene().items())
    desk.close()
    assert len(shown.canvas.scene().items()) == items - 3  # the outline, and what two tools draw
    assert not shown.project.layerTreeRoot().findGroup("Answer of the record (temporary)")
    shown.project.clear()
    qtbot.wait(50)


def test_a_record_in_postgis(panel, processed, postgis, qtbot):
    from qgis.core import QgsDataSourceUri, QgsProviderRegistry

    metadata = QgsProviderRegistry.instance().providerMetadata("postgres")
    metadata.saveConnection(metadata.createConnection(QgsDataSourceUri(postgis).uri(), {"saveUsername": True}), "asked")
    try:
        run("updaterecord", {"SURVEY": processed[0]["SURVEY"], "RECORD": text_of_connection("asked")})
        panel.controls.database.menu().aboutToShow.emit()
        action = next(action for action in panel.controls.database.menu().actions() if action.text() == "asked")
        action.trigger()
        qtbot.waitUntil(lambda: panel.choice.task is None, timeout=30000)
        panel.controls.everything.click()
        assert "items are known" in answered(panel, qtbot)
        count = len(read_record(f"{postgis} schema={DEFAULT_SCHEMA}")["items"])
        assert len(panel.answered.answer.items) == count
    finally:
        metadata.deleteConnection("asked")


def test_surveys_lie_where_this_test_says():
    assert surveys.to_site("A1", (0.0, 0.0)) == pytest.approx((10.0, 20.0))
