"""Run inside QGIS (--code) by take_pictures: go through the sample as a person would, save what is seen, close QGIS."""

import os
import shutil
import subprocess
import sys
import time
import traceback
from pathlib import Path

from qgis.core import QgsFeatureRequest, QgsProject, QgsRectangle
from qgis.PyQt.QtCore import QCoreApplication, QEvent, QPointF, Qt, QTimer
from qgis.PyQt.QtGui import QMouseEvent
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QApplication, QDockWidget
from qgis.utils import iface, plugins

WORK, PICTURES = Path(os.environ["INSLAB_WORK"]), Path(os.environ["INSLAB_PICTURES"])
SIZE = tuple(int(side) for side in os.environ["INSLAB_SIZE"].split("x"))
SURVEY = WORK / "result" / "survey.gpkg"
CROSSING = QgsRectangle(202.6, 101.9, 205.2, 104.1)  # three areas that overlap, site grid, metres
HOLES = QgsRectangle(211.3, 109.1, 214.4, 111.5)  # where some of the planned penetrations lie
LONGEST_S = 120.0


def wait(seconds: float = 0.3, until=lambda: True) -> None:
    """Let QGIS work for `seconds`, and until something has come about."""
    start = time.monotonic()
    while time.monotonic() - start < seconds or not until():
        if time.monotonic() - start > LONGEST_S:
            raise RuntimeError("QGIS took too long; what was waited for did not come.")
        QCoreApplication.processEvents()
        time.sleep(0.01)


def settle() -> None:
    """Until the maps are drawn."""
    iface.messageBar().clearWidgets()
    wait(1.5)
    wait(0.5, lambda: not any(canvas.isDrawing() for canvas in iface.mapCanvases()))


def save(widget, name: str) -> None:
    """A picture of a widget as it is on the screen."""
    if not widget.grab().save(str(PICTURES / f"{name}.png"), "PNG", 0):
        raise RuntimeError(f"{PICTURES / name}.png cannot be written.")


def drag(widget, start, end) -> None:
    """What a person does with the left button of the mouse."""
    button, none_pressed, none = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
    QTest.mousePress(widget, button, none, start.toPoint())
    for part in (0.3, 0.6, 1.0):  # QTest moves the pointer of the screen, and then no button counts as pressed
        at = (start + part * (end - start)).toPoint()
        move = QMouseEvent(
            QEvent.Type.MouseMove, QPointF(at), QPointF(widget.mapToGlobal(at)), none_pressed, button, none
        )
        QApplication.sendEvent(widget, move)
        wait(0.1)
    QTest.mouseRelease(widget, button, none, end.toPoint())


def state_path(chooser, path: str) -> None:
    """What a picture shows instead of the temporary folder; nothing hears of it."""
    chooser.blockSignals(True)
    chooser.setFilePath(path)
    chooser.blockSignals(False)


def page_of(pdf: Path, page: int, name: str) -> None:
    """A picture of a page of a PDF."""
    numbers = ("-f", str(page), "-l", str(page), "-singlefile", "-r", "70")
    subprocess.run(["pdftoppm", "-png", *numbers, pdf, PICTURES / name], check=True)


class Session:
    """QGIS with the sample; each method takes one or more pictures and leaves the window as it found it."""

    def __init__(self):
        self.window, self.canvas, self.project = iface.mainWindow(), iface.mapCanvas(), QgsProject.instance()
        self.desk = plugins["inslab"].desk
        self.window.move(0, 0)
        self.window.resize(*SIZE)
        self.layers = self.window.findChild(QDockWidget, "Layers")
        self.close_docks()

    def close_docks(self) -> None:
        for dock in self.window.findChildren(QDockWidget):
            if dock is not self.layers and dock.isVisible():
                dock.close()

    def look_at(self, extent: QgsRectangle) -> None:
        self.canvas.setExtent(extent)
        self.canvas.refresh()
        settle()

    def plane(self):
        """Top of level L2."""
        from inslab.plugin.project.shown import first_visible, shown_planes

        return first_visible(shown_planes(self.project), self.project)

    def sample(self) -> None:
        """The crossing areas, and the whole floor in a corner."""
        floor = iface.createNewMapCanvas("Whole floor")
        floor.setExtent(self.project.viewSettings().defaultViewExtent())
        overview = next(dock for dock in self.window.findChildren(QDockWidget) if dock.isAncestorOf(floor))
        overview.setFloating(False)
        self.window.addDockWidget(Qt.DockWidgetArea.LeftDockWidgetArea, overview)
        self.window.splitDockWidget(self.layers, overview, Qt.Orientation.Vertical)
        self.window.resizeDocks([self.layers], [400], Qt.Orientation.Horizontal)
        self.window.resizeDocks([self.layers, overview], [470, 290], Qt.Orientation.Vertical)
        self.look_at(CROSSING)
        save(self.window, "sample")
        iface.closeMapCanvas("Whole floor")
        wait()

    def depth(self) -> None:
        """The depth panel, with the second map beside the first."""
        self.layers.hide()
        panel = self.desk.show("depth_panel")
        panel.set_depth(0.127)
        panel.set_others("faint")
        self.look_at(CROSSING)
        save(panel, "depth_panel")
        panel.show_second(0.043)
        wait(1.0)
        self.look_at(CROSSING)
        save(self.window, "second_map")
        panel.beside.setChecked(False)
        panel.set_others("shown")
        panel.close()
        self.layers.show()

    def sections(self) -> None:
        """The radargram of an item, a wave speed tested, and a section across the slices."""
        items = self.plane().layer("items")
        request = QgsFeatureRequest().setFilterExpression("\"kind\" = 'tendon' AND \"area_ids\" LIKE '%,%'")
        items.selectByIds([next(items.getFeatures(request)).id()])
        self.layers.hide()
        panel = self.desk.show("section_panel")
        self.window.resizeDocks([panel], [SIZE[1] * 2 // 5], Qt.Orientation.Vertical)
        wait()
        self.look_at(CROSSING)
        panel.show_selected()
        wait(0.5, lambda: panel.task is None)
        panel.bar.choose_panel(2)
        settle()
        save(self.window, "section_panel")
        panel.bar.test.setChecked(True)
        wait(1.0)
        view, curve = panel.view, panel.view.curve
        echo = next(mark for mark in view.marks if mark.is_selected)
        drag(view, view.point(curve.apex_m, curve.apex_ns), view.point_of_depth(echo.distance_m, echo.depth_m))
        view.zoom(2.0, view.plot.center(), down=False)
        wait()
        save(panel, "test_speed")
        panel.bar.test.setChecked(False)
        items.removeSelection()
        panel.close()
        self.layers.show()

    def survey(self) -> None:
        """The survey panel with what the last step before the holes noticed."""
        panel = self.desk.show("survey_panel")
        panel.open_survey(WORK / "survey", WORK / "result")
        wait(1.0, lambda: not panel.is_looking)
        panel.controls.steps.open_step("join items")
        self.look_at(CROSSING)
        state_path(panel.controls.folder, "/jobs/level2")
        state_path(panel.controls.result, "/jobs/level2-result")
        save(panel, "survey_panel")
        panel.close()

    def set_up(self) -> None:
        """The form with the grid of an area and its files."""
        from inslab.plugin.setup.form import SetUpForm, open_example

        files, survey = WORK / "line files", WORK / "new survey"
        files.mkdir()
        survey.mkdir()
        for file in sorted((WORK / "survey" / "lines").glob("S01_*.sgy")):
            shutil.copy(file, files)
        form = SetUpForm(self.window, self.canvas)
        form.show()
        for field, text in ((form.area_page.area_id, "A1"), (form.area_page.level, "L2")):
            field.setText(text)
        page = form.grid_page
        for lines in page.sets.values():
            lines.spacing.setValue(0.05)
            lines.axes.setCurrentIndex(2)
        open_example(form, survey, files, 1)
        wait(2.0, lambda: not form.is_checking)
        state_path(form.folder, "/jobs/level2")
        state_path(form.files_page.folder, "/jobs/usb-stick/area 1")
        save(form, "set_up_grid")
        form.pages.setCurrentIndex(2)
        form.files_page.select(3)
        wait(1.0)
        save(form, "set_up_files")
        form.close()

    def in_3d(self) -> None:
        """Bodies of the crossing areas."""
        from inslab.plugin.view3d.picture import save_picture
        from inslab.plugin.view3d.show import GROUP, show_bodies

        bodies = show_bodies(self.project, SURVEY)
        nodes = {layer.id(): self.project.layerTreeRoot().findLayer(layer.id()) for layer in bodies}
        seen = [layer for layer in bodies if nodes[layer.id()].isVisible()]
        save_picture(self.project, seen, CROSSING, PICTURES / "in_3d.png", distance_m=7.5)
        self.project.layerTreeRoot().removeChildNode(self.project.layerTreeRoot().findGroup(GROUP))

    def record(self) -> None:
        """The record panel with what is known of the crossing areas."""
        from qgis import processing

        building = str(WORK / "building.gpkg")
        processing.run("inslab:updaterecord", {"SURVEY": str(SURVEY), "RECORD": building})
        panel = self.desk.show("record_panel")
        panel.open_record(building)
        wait(1.0, lambda: panel.controls.level.count() > 1)
        self.look_at(CROSSING)
        panel.asked.ask_view()
        wait(1.0, lambda: panel.task is None and panel.answered is not None)
        settle()
        state_path(panel.controls.record, "/jobs/building.gpkg")
        save(panel, "record_panel")
        panel.close()

    def penetrations(self) -> None:
        """Verdicts on the map, the dialog that gives them, and pages that are printed."""
        from qgis import processing

        (planned,) = self.project.mapLayersByName("Planned penetrations (not checked)")
        common = {"SURVEY": str(SURVEY), "PENETRATIONS": planned.id()}
        dialog = processing.createAlgorithmDialog("inslab:checkpenetrations", common)
        dialog.resize(860, 640)
        dialog.show()
        wait(1.0)
        save(dialog, "check_dialog")
        dialog.close()
        verdicts = str(WORK / "result" / "penetrations.gpkg")
        found = processing.runAndLoadResults("inslab:checkpenetrations", {**common, "OUTPUT": verdicts})
        wait(1.0)
        self.project.layerTreeRoot().findLayer(planned.id()).setItemVisibilityChecked(False)
        self.look_at(HOLES)
        save(self.canvas, "verdicts")
        sheets, report = WORK / "sheets.pdf", WORK / "report.pdf"
        table = str(WORK / "sheets.gpkg")
        processing.run("inslab:drillsheet", {**common, "OUTPUT": table, "SHEETS": str(sheets)})
        page_of(sheets, 1, "drill_sheet")
        words = {"TITLE": "Level 2", "CLIENT": "The client", "AUTHOR": "The surveyor"}
        holes = {"PENETRATIONS": found["OUTPUT"], "REPORT": str(report)}
        processing.run("inslab:surveyreport", {"SURVEY": str(SURVEY), **words, **holes})
        page_of(report, 2, "report_page")


def main() -> None:
    try:
        session = Session()
        for name in ("sample", "depth", "sections", "survey", "set_up", "in_3d", "record", "penetrations"):
            start = time.monotonic()
            getattr(session, name)()
            print(f"{name}: {time.monotonic() - start:.0f} s", flush=True)
        failed = 0
    except Exception:
        traceback.print_exc()
        failed = 1
    QApplication.processEvents()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(failed)  # without the question whether to save the project


QTimer.singleShot(4000, main)
