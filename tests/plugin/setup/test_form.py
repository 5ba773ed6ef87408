"""The form that sets up a survey, driven as a user does: what it writes is read back and can be processed."""

import shutil

import numpy as np
import pytest
import surveys
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QPoint, Qt
from qgis.PyQt.QtWidgets import QAbstractButton, QComboBox, QLineEdit, QSpinBox, QTableWidget

from inslab.plugin.project.layers import KEY
from inslab.plugin.setup.area_page import next_id
from inslab.plugin.setup.files_page import FILE, LOOK, SPACING, TRACES
from inslab.plugin.setup.form import SetUpForm
from inslab.plugin.setup.grid_page import parse_numbers
from inslab.processing.site.crs import GridTie, local_crs_wkt, tied_crs_wkt
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.read import read_survey

WAIT_MS = 60_000


@pytest.fixture
def form(qgis_iface, qgis_new_project, qtbot):
    made = SetUpForm(None, qgis_iface.mapCanvas())
    qtbot.addWidget(made)
    return made


@pytest.fixture
def card(small_survey, tmp_path):
    """The files of area A1 of the small survey as an instrument would number them: line by line, both axes, x before y."""
    folder = tmp_path / "card"
    folder.mkdir()
    lines = [name for name, _, _ in surveys._lines()]
    number = 0
    for line in lines:
        for axis in ("across", "along"):
            number += 1
            shutil.copy(small_survey / "lines" / f"A1-{line}-{axis}.sgy", folder / f"scan{number}.sgy")
    return folder


def fill(form, folder, card):
    """What a user types for the small survey's area A1."""
    form.folder.setFilePath(str(folder))
    form.area_page.area_id.setText("A1")
    form.area_page.level.setText("Level 1")
    form.area_page.frequency.setValue(1500)
    form.grid_page.size_x.setValue(surveys.SIZE_M[0])
    form.grid_page.size_y.setValue(surveys.SIZE_M[1])
    for box in form.grid_page.sets.values():
        box.spacing.setValue(surveys.LINE_STEP_M)
        box.axes.setCurrentIndex(box.axes.findText("both, across first"))
    form.files_page.folder.setFilePath(str(card))
    form.update_plan()


def corners(form, area_id="A1"):
    form.points_page.corners.click()
    for row, local in enumerate(((0, 0), (surveys.SIZE_M[0], 0), surveys.SIZE_M, (0, surveys.SIZE_M[1]))):
        for column, value in enumerate(surveys.to_site(area_id, local), 3):
            form.points_page.table.item(row, column).setText(f"{value:.4f}")
    form.update_plan()


def checked(form, qtbot):
    qtbot.waitUntil(lambda: not form._soon.isActive() and not form.is_checking, timeout=WAIT_MS)


def written(form, qtbot, button):
    with qtbot.waitSignal(form.written, timeout=WAIT_MS) as done:
        button.click()
    return done.args


def test_it_says_what_is_missing_step_by_step(form, tmp_path, card):
    assert not form.write_button.isEnabled()
    assert "survey folder" in form.problem.text()
    form.folder.setFilePath(str(tmp_path / "new"))
    form.update_plan()
    assert "Area id is missing; fill it in." in form.problem.text()
    form.area_page.area_id.setText("A1")
    form.area_page.level.setText("L1")
    form.update_plan()
    assert "No line has a file" in form.problem.text()
    form.files_page.folder.setFilePath(str(card))
    form.grid_page.sets["x"].turned.setText("3, x")
    form.update_plan()
    assert "'x' is not a line number" in form.problem.text()
    form.grid_page.sets["x"].turned.setText("3")
    form.update_plan()
    assert form.write_button.isEnabled()
    assert "22 lines" in form.files_page.sentence.text()  # 1 m each way, each 0.1 m


def test_a_survey_made_by_the_form_is_read_and_equals_the_one_made_by_hand(form, small_survey, tmp_path, card, qtbot):
    fill(form, tmp_path / "new", card)
    corners(form)
    checked(form, qtbot)
    assert form.write_button.isEnabled(), form.problem.text()
    assert written(form, qtbot, form.read_button) == [str(tmp_path / "new"), True]
    survey = read_survey(tmp_path / "new")
    assert [one.text for one in survey.findings if one.severity != "note"] == []
    (area,) = survey.areas
    known = next(one for one in read_survey(small_survey).areas if one.area_id == "A1")
    assert (area.level, area.surface, area.centre_frequency_mhz) == (
        known.level,
        known.surface,
        known.centre_frequency_mhz,
    )
    assert [(one.start_m, one.end_m, one.dipole_axis) for one in area.lines] == [
        (one.start_m, one.end_m, one.dipole_axis) for one in known.lines
    ]
    assert [one.path.read_bytes() for one in area.lines] == [one.path.read_bytes() for one in known.lines]
    assert len(area.control_points) == 4
    # The form is ready for the next area, which goes into the same tables.
    assert form.area_page.area_id.text() == "A2"
    assert form.files_page.files == []
    assert "Its areas so far: A1." in form.areas_there.text()


def test_what_the_form_wrote_can_be_processed(form, tmp_path, card, qtbot, inslab_provider, qgis_processing):
    from algorithms import run

    fill(form, tmp_path / "new", card)
    corners(form)
    written(form, qtbot, form.write_button)
    out = tmp_path / "survey.gpkg"
    found = run(
        "readsurvey", {"SURVEY_FOLDER": str(tmp_path / "new"), "SURVEY": str(out), "REPORT": str(tmp_path / "r.html")}
    )
    assert (found["AREA_COUNT"], found["LINE_COUNT"]) == (1, 32)
    speeds = run("wavespeed", {"SURVEY": str(out)})
    assert speeds["AREA_COUNT"] == 1


def test_a_second_area_leaves_the_first(form, tmp_path, card, qtbot):
    fill(form, tmp_path / "new", card)
    written(form, qtbot, form.write_button)
    before = (tmp_path / "new" / "scan_lines.csv").read_bytes()
    form.files_page.folder.setFilePath(str(card))
    form.area_page.area_id.setText("a1")
    form.update_plan()
    assert "already" in form.problem.text()
    assert not form.write_button.isEnabled()
    form.area_page.area_id.setText("B7")
    form.update_plan()
    written(form, qtbot, form.write_button)
    assert (tmp_path / "new" / "scan_lines.csv").read_bytes().startswith(before)
    assert [area.area_id for area in read_survey(tmp_path / "new").areas] == ["A1", "B7"]


def test_each_file_is_looked_at(form, tmp_path, card, qtbot):
    (card / "scan3.sgy").write_bytes(b"")
    noise = np.random.default_rng(1).normal(size=(31, 640)).astype(np.float32)
    write_segy(card / "scan5.sgy", noise, 0.015)  # of a line of 0.6 m
    fill(form, tmp_path / "new", card)
    checked(form, qtbot)
    table = form.files_page.table
    assert table.item(0, FILE).text() == "scan1.sgy"
    assert table.item(0, TRACES).text() == "41"  # 0.8 m, a trace each 20 mm
    assert table.item(0, SPACING).text() == "20.00 mm"
    assert table.item(0, LOOK).text() == ""
    assert "empty" in table.item(2, LOOK).text()
    assert "as long as the grid" in table.item(4, LOOK).text()
    assert form.sketch.bad == {2}


def test_files_can_be_moved_and_left_out(form, tmp_path, card):
    fill(form, tmp_path / "new", card)
    page = form.files_page
    page.table.selectRow(1)
    page.up.click()
    form.update_plan()
    assert [line.file.name for line in form.lines[:3]] == ["scan2.sgy", "scan1.sgy", "scan3.sgy"]
    page.table.selectRow(0)
    page.leave_out.click()
    form.update_plan()
    assert [line.file.name for line in form.lines[:2]] == ["scan1.sgy", "scan3.sgy"]
    assert form.lines[-1].file is None
    assert "lines without a file are left out" in page.sentence.text()
    page.names.setText("scan1*")
    form.update_plan()
    assert len(page.files) == 11  # 1 and 10 to 19


def test_points_come_from_a_layer(form, tmp_path, card):
    fill(form, tmp_path / "new", card)
    fields = (
        "field=point_id:string&field=area_id:string&field=local_x_m:double&field=local_y_m:double&field=sigma_m:double"
    )
    layer = QgsVectorLayer(f"Point?{fields}", "Surveyed", "memory")
    for name, area_id, place in (("P1", "A1", (10, 20)), ("P2", "A1", (10.8, 20)), ("Q1", "A2", (99, 99))):
        feature = QgsFeature(layer.fields())
        feature.setAttributes([name, area_id, place[0] - 10.0, 0.0, None if name == "P2" else 0.002])
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(*place)))
        layer.dataProvider().addFeature(feature)
    QgsProject.instance().addMapLayer(layer)
    form.points_page.layer.setLayer(layer)
    form.points_page.take.click()
    points, said = form.points_page.points("A1")
    assert said == []
    assert [(one.point_id, one.local_m, one.site_m, one.sigma_m) for one in points] == [
        ("P1", (0.0, 0.0), (10.0, 20.0), 0.002),
        ("P2", (pytest.approx(0.8), 0.0), (10.8, 20.0), 0.003),
    ]


NATIONAL = "EPSG:25832"
TIE = GridTie.from_degrees(691000.0, 5335000.0, 23.5, 0.9996)


def show_survey(crs):
    """As the project shows a survey on a site grid."""
    layer = QgsVectorLayer("Point", "Items", "memory")
    layer.setCrs(crs)
    layer.setCustomProperty(KEY, "/job/survey.gpkg|L1|items")
    QgsProject.instance().addMapLayer(layer)


def crs_of(wkt):
    return QgsCoordinateReferenceSystem.fromWkt(wkt)


def click(form, crs, place):
    """A pair of which the second click is made on a map in `crs`; the row it gave, and the sentence."""
    page = form.points_page
    QgsProject.instance().setCrs(crs)
    page.canvas.setDestinationCrs(crs)
    page.clear()
    page.add_row(local=(0.0, 0.0))
    page.site_clicked(QgsPointXY(*place))
    said = page.sentence.text()
    points, _ = page.points("A1")
    return [one.site_m for one in points], said


def test_a_click_on_a_map_in_the_national_grid_is_converted_where_the_site_grid_is_tied(form):
    """Expected: the similarity of the tie, worked out from its four numbers."""
    show_survey(crs_of(tied_crs_wkt("Site", NATIONAL, TIE)))
    ((east, north),) = TIE.to_base([(12.5, 34.25)])
    ((x, y),), _ = click(form, QgsCoordinateReferenceSystem(NATIONAL), (east, north))
    assert (x, y) == pytest.approx((12.5, 34.25), abs=2e-4)
    ((x, y),), _ = click(form, crs_of(tied_crs_wkt("Site", NATIONAL, TIE)), (12.5, 34.25))
    assert (x, y) == (12.5, 34.25)


def test_a_click_is_refused_where_nothing_says_how_the_map_lies_to_the_site_grid(form):
    show_survey(crs_of(local_crs_wkt()))
    points, said = click(form, QgsCoordinateReferenceSystem(NATIONAL), (691000.0, 5335000.0))
    assert points == []
    assert "The relation between ETRS89 / UTM zone 32N and Site grid (local, not tied) is not known" in said
    for crs in (
        crs_of(local_crs_wkt("Another name")),
        QgsCoordinateReferenceSystem(),
    ):  # the grid itself, or bare numbers
        assert click(form, crs, (10.0, 20.0))[0] == [(10.0, 20.0)]


def test_a_click_without_a_survey_counts_in_the_map_s_own_metres_never_in_degrees(form):
    assert click(form, QgsCoordinateReferenceSystem(NATIONAL), (691000.0, 5335000.0))[0] == [(691000.0, 5335000.0)]
    assert click(form, QgsCoordinateReferenceSystem(), (10.0, 20.0))[0] == [(10.0, 20.0)]
    for code in ("EPSG:4326", "EPSG:2263"):  # degrees; feet of the United States
        points, said = click(form, QgsCoordinateReferenceSystem(code), (10.0, 20.0))
        assert points == []
        assert "is not in metres" in said


def test_a_layer_in_another_system_is_converted_or_refused_as_a_whole(form):
    layer = QgsVectorLayer(f"Point?crs={NATIONAL}&field=local_x_m:double&field=local_y_m:double", "Surveyed", "memory")
    for east, north in TIE.to_base([(1.0, 2.0), (3.0, 4.0)]):
        feature = QgsFeature(layer.fields())
        feature.setAttributes([0.0, 0.0])
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(east, north)))
        layer.dataProvider().addFeature(feature)
    QgsProject.instance().addMapLayer(layer)
    page = form.points_page
    page.layer.setLayer(layer)
    for wkt, count in ((local_crs_wkt(), 0), (tied_crs_wkt("Site", NATIONAL, TIE), 2)):
        QgsProject.instance().removeMapLayers([one.id() for one in QgsProject.instance().mapLayersByName("Items")])
        show_survey(crs_of(wkt))
        page.take_layer()
        points, _ = page.points("A1")
        assert len(points) == count
    assert [one.site_m for one in points] == [pytest.approx(place, abs=2e-4) for place in ((1.0, 2.0), (3.0, 4.0))]


def test_points_are_clicked_in_pairs(form, tmp_path, card, qtbot):
    fill(form, tmp_path / "new", card)
    form.show()
    canvas = form.points_page.canvas
    earlier = canvas.mapTool()
    form.points_page.pairs.setChecked(True)
    corner = form.sketch.to_widget((0.0, 0.0)).toPoint()
    qtbot.mouseClick(form.sketch, Qt.MouseButton.LeftButton, pos=QPoint(corner))
    assert "on the map" in form.points_page.sentence.text()
    form.points_page.site_clicked(QgsPointXY(10.0, 20.0))
    (point,), said = form.points_page.points("A1")
    assert said == []
    assert point.local_m == pytest.approx((0.0, 0.0), abs=0.005)  # a pixel
    assert point.site_m == (10.0, 20.0)
    form.points_page.pairs.setChecked(False)
    assert canvas.mapTool() is earlier
    form.points_page.add.click()
    assert "has a missing or invalid number" in form.points_page.points("A1")[1][0]
    form.update_plan()
    assert not form.write_button.isEnabled()


def test_it_fits_on_the_screen_whatever_the_font(qgis_iface, qgis_new_project, qtbot):
    from qgis.PyQt.QtWidgets import QApplication

    font = QApplication.font()
    large = QApplication.font()
    large.setPointSizeF(2.5 * font.pointSizeF())
    QApplication.setFont(large)
    try:
        made = SetUpForm(None, qgis_iface.mapCanvas())
        qtbot.addWidget(made)
        room = made.screen().availableGeometry()
        assert made.width() < room.width()
        assert made.height() < room.height()
    finally:
        QApplication.setFont(font)


def test_the_sketch_tells_lines_by_place(form, tmp_path, card):
    fill(form, tmp_path / "new", card)
    form.sketch.resize(400, 300)
    line = form.lines[4]
    middle = [(a + b) / 2 + 0.03 * (n == 0) for n, (a, b) in enumerate(zip(line.start_m, line.end_m))]
    found = form.lines[form.sketch._nearest(form.sketch.to_widget(middle))]
    assert (found.direction, found.number) == (line.direction, line.number)
    assert form.sketch.to_local(form.sketch.to_widget((0.4, 0.3))) == pytest.approx((0.4, 0.3), abs=0.005)
    assert not form.sketch.grab().isNull()


def test_a_failure_while_writing_is_a_sentence(form, tmp_path, card, qtbot):
    (tmp_path / "file").write_text("in the way")
    fill(form, tmp_path / "file", card)
    form.write_button.click()
    qtbot.waitUntil(form.write_button.isEnabled, timeout=WAIT_MS)
    assert "cannot be written to" in form.problem.text()


def test_numbers_and_names():
    assert parse_numbers("3, 5-7; 9") == ({3, 5, 6, 7, 9}, "")
    assert parse_numbers("") == (frozenset(), "")
    assert parse_numbers("2, seven, 4")[1] == "seven"
    assert [next_id(name) for name in ("A1", "A09", "north", "")] == ["A2", "A10", "north2", ""]


def test_every_control_says_what_it_is_for(form):
    for kind in (QAbstractButton, QComboBox, QLineEdit, QSpinBox, QTableWidget):
        for widget in form.findChildren(kind):
            inner = widget.objectName().startswith("qt_") or type(widget.parent()).__name__ in (
                *("QSpinBox", "QDoubleSpinBox", "QgsFileWidget", "QDialogButtonBox", "QTabBar", "QTableWidget"),
                *("QgsFilterLineEdit", "QComboBox", "QgsMapLayerComboBox", "QScrollBar", "QTableView"),
            )
            assert inner or widget.toolTip() or widget.parent().toolTip(), (widget, widget.parent())
