"""The section panel: a scan line or a cut through the depth slices, linked with the map, where picks are edited."""

from typing import Optional

from qgis.core import QgsApplication, QgsFeature, QgsProject
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QVBoxLayout, QWidget

from ....processing.common.language import tr
from ....processing.floor.result import SLICES
from ....processing.store.schema import SCAN_LINES
from ....processing.survey.model import DIPOLE_AXES
from ....processing.views.section import Section, SectionSource
from ...maptools.choose_line import ChooseLineTool
from ...maptools.draw_shape import DrawShapeTool
from ...plain_text import plain_label
from ...project.background import WorkTask
from ...project.shown import ShownPlane, plane_of_layer, shown_planes
from .bar import SectionBar
from .editing import SectionEditing
from .map import SectionOnMap
from .speed import SpeedRow
from .view import EDIT, LOOK, SectionView
from .wanted import WantedLine, line_of_feature, neighbour, rows_of, wanted_of_selection

LINE_PANEL = 1  # of `radargrams.PANELS`: processed


def make(desk) -> "SectionPanel":
    """The panel of the registry."""
    return SectionPanel(desk)


class SectionPanel(QgsDockWidget):
    """One section at a time. `section` is the one that is shown, `task` the one that is being composed."""

    AREA = Qt.DockWidgetArea.BottomDockWidgetArea

    def __init__(self, desk):
        super().__init__(desk.iface.mainWindow())
        self.iface, self.canvas, self.project = desk.iface, desk.iface.mapCanvas(), QgsProject.instance()
        self.section: Optional[Section] = None
        self.task: Optional[WorkTask] = None
        self.editing = SectionEditing(self)
        self._plane_key = self._wanted_key = ""  # of the plane that is shown, and of the one being composed
        self._source: Optional[SectionSource] = None
        self._running = set()  # tasks, also cancelled ones: without a reference they would be gone before their turn
        self._centre_m: Optional[float] = None
        self.view, self.bar, self.speed_row, self.footer = SectionView(), SectionBar(), SpeedRow(), plain_label()
        self.footer.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.speed_row.hide()
        box = QVBoxLayout()
        for widget, stretch in ((self.bar, 0), (self.speed_row, 0), (self.view, 1), (self.footer, 0)):
            box.addWidget(widget, stretch)
        inner = QWidget()
        inner.setLayout(box)
        self.setWidget(inner)
        self.on_map = SectionOnMap(self.canvas, self.view.show_cursor)
        self.line_tool = ChooseLineTool(self.canvas, self._line_layers, self._line_chosen)
        self.line_tool.setAction(self.bar.choose)
        self.section_tool = DrawShapeTool(self.canvas, self.cut_along)
        self.section_tool.setAction(self.bar.draw)
        self._connect()
        self._say()

    def _connect(self) -> None:
        bar, view, editing = self.bar, self.view, self.editing
        bar.choose.triggered.connect(lambda: self.canvas.setMapTool(self.line_tool))
        bar.draw.triggered.connect(lambda: self.canvas.setMapTool(self.section_tool))
        bar.selected.triggered.connect(self.show_selected)
        bar.whole.triggered.connect(view.show_all)
        bar.panelChosen.connect(self._show_panel)
        bar.axisChosen.connect(self._other_axis)
        bar.edit.toggled.connect(lambda on: setattr(view, "mode", EDIT if on else LOOK))
        bar.delete.triggered.connect(editing.delete_selected)
        bar.undo.triggered.connect(editing.undo)
        bar.redo.triggered.connect(editing.redo)
        bar.save.triggered.connect(self._save)
        bar.test.toggled.connect(self.test_speed)
        self.speed_row.changed.connect(lambda: view.show_curve(self.speed_row.curve))
        view.curveChanged.connect(lambda: self.speed_row.show_curve(self.section, view.curve))
        view.cursorMoved.connect(self._pointed)
        view.cursorLeft.connect(lambda: self.on_map.mark(None))
        view.pickWanted.connect(editing.add)
        view.pickMoved.connect(editing.move)
        view.pickChosen.connect(editing.choose)
        view.deleteWanted.connect(editing.delete_selected)
        editing.changed.connect(self._show_marks)
        editing.refused.connect(self._say)
        view.neighbourWanted.connect(self.show_neighbour)
        self.closedStateChanged.connect(self._closed_or_opened)
        self.project.layersWillBeRemoved.connect(self._layers_go)

    # What is shown

    @property
    def plane(self) -> Optional[ShownPlane]:
        """The plane that the section belongs to; looked up anew each time, since layers come and go."""
        return next((plane for plane in shown_planes(self.project) if plane.key == self._plane_key), None)

    def show_line(self, plane: ShownPlane, area_id: str, line_id: str, dipole_axis: str, centre_m=None) -> None:
        """Show the radargram of a scan line; it appears when it is composed. `centre_m` is then in view."""
        self._centre_m = centre_m
        source = self._source_of(plane)
        title = tr("Radargram of line {line} of area {area}", line=line_id, area=area_id)
        self._start(title, plane, lambda monitor: source.of_line(area_id, line_id, dipole_axis, monitor))

    def cut_along(self, points, plane: Optional[ShownPlane] = None) -> None:
        """Show the depth slices along a line through points of the map, of `plane` or of the one that is switched on."""
        planes = [one for one in shown_planes(self.project) if one.layer(SLICES) is not None]
        plane = plane or next((one for one in planes if one.is_visible(self.project)), None)
        if plane is None:
            self._say(tr("No depth slices are switched on, so there is nothing to cut."))
            return
        self.on_map.crs = plane.crs
        vertices = [tuple(self.on_map.from_map(point)) for point in points]
        self._centre_m = None
        level, surface = plane.level_and_surface
        source = self._source_of(plane)
        title = tr("Section through the depth slices of {plane}", plane=plane.title)
        self._start(title, plane, lambda monitor: source.along(vertices, level, surface, monitor))

    def show_selected(self) -> None:
        """Show the pick or item that is selected on the map in the radargram that shows it best."""
        wanted = wanted_of_selection(self.project)
        if wanted is None:
            self._say(tr("Select a pick, an item or a scan line first."))
        elif not wanted.line_id:
            self._say(tr("No scan line shows this item; draw a section across it instead."))
        else:
            self._show_wanted(wanted)

    def show_neighbour(self, step: int) -> None:
        """Show the next scan line of the area (1), or the one before (-1)."""
        line = self.section.line if self.section is not None else None
        if line is None or self.plane is None:
            return
        wanted = neighbour(self.plane, line.area_id, line.line_id, line.dipole_axis, step)
        if wanted is not None:
            self._show_wanted(wanted)

    def test_speed(self, wanted: bool) -> None:
        """Lay a travel-time curve over the radargram, or take it away."""
        possible = wanted and self.section is not None and self.section.picture is not None
        self.speed_row.setVisible(possible)
        if possible and self.view.in_depth:
            self.bar.choose_panel(LINE_PANEL)  # a curve belongs to times
        middle = self.view.shown.center().x()
        self.view.show_curve(self.speed_row.start(self.section, middle) if possible else None)

    def close_down(self) -> None:
        """Let go of the map, the project and the layers."""
        self.project.layersWillBeRemoved.disconnect(self._layers_go)
        if self.task is not None:
            self.task.cancel()
            self.task = None
        self.editing.forget()
        for tool in (self.line_tool, self.section_tool):
            self.canvas.unsetMapTool(tool)
        self.section_tool.remove()
        self.on_map.remove()

    # Composing

    def _source_of(self, plane: ShownPlane) -> SectionSource:
        if self._source is None or str(self._source.survey_path) != plane.survey_path:
            self._source = SectionSource(plane.survey_path)
        return self._source

    def _start(self, title: str, plane: ShownPlane, compose) -> None:
        if self.task is not None:
            self.task.cancel()
        self._wanted_key = plane.key
        self._say(tr("Preparing {title} …", title=title))
        self.task = WorkTask(title, compose, self._composed)
        self._running.add(self.task)
        QgsApplication.taskManager().addTask(self.task)

    def _composed(self, task: WorkTask) -> None:
        self._running.discard(task)
        if task is not self.task:
            return  # another section was wanted meanwhile, or the panel is gone
        self.task = None
        if task.result is None:
            self._say(task.sentence)
            return
        self._plane_key, self.section = self._wanted_key, task.result
        plane = self.plane
        if plane is None:
            self._forget()
            return
        self.editing.follow(plane, self.section)
        self.bar.show_section(self.section, self._axes_of_line(plane))
        self._show_panel(self.bar.panel_number)
        self.view.show_all()
        self.view.show_cursor(self._centre_m)
        self._show_on_map()
        self.test_speed(self.bar.test.isChecked())
        self._say()

    def _show_panel(self, number: int) -> None:
        if self.section is not None:
            same = self.view.section is self.section
            self.view.show_section(self.section, min(number, len(self.section.panels) - 1), same)
            self._show_marks()

    def _other_axis(self, dipole_axis: str) -> None:
        if self.section is not None and self.section.line is not None and self.plane is not None:
            line = self.section.line
            if dipole_axis != line.dipole_axis:
                self.show_line(self.plane, line.area_id, line.line_id, dipole_axis)

    def _axes_of_line(self, plane: ShownPlane):
        line = self.section.line
        if line is None:
            return []
        own = {
            row[SCAN_LINES.dipole_axis]
            for row in rows_of(plane, SCAN_LINES.name, area_id=line.area_id, line_id=line.line_id)
        }
        return [axis for axis in DIPOLE_AXES if axis in own]

    def _show_marks(self) -> None:
        if self.section is not None:
            self.view.show_marks(self.editing.marks())
            self.bar.show_editing(self.editing.picks, self.section.line is not None)

    def _save(self) -> None:
        """Saved, the mouse only looks again: a stray click would add a pick."""
        self.editing.save()
        if self.editing.picks is None or not self.editing.picks.isEditable():
            self.bar.edit.setChecked(False)

    # The map

    def _line_layers(self):
        planes = [plane for plane in shown_planes(self.project) if plane.is_visible(self.project)]
        return [plane.layer(SCAN_LINES.name) for plane in planes if plane.layer(SCAN_LINES.name) is not None]

    def _show_wanted(self, wanted: WantedLine) -> None:
        self.show_line(wanted.plane, wanted.area_id, wanted.line_id, wanted.dipole_axis, wanted.distance_m)

    def _line_chosen(self, layer, feature: QgsFeature) -> None:
        self.show_line(plane_of_layer(self.project, layer), *line_of_feature(feature))

    def _show_on_map(self) -> None:
        plane = self.plane
        if self.section is not None and self.section.is_placed and plane is not None:
            self.on_map.show(self.section.path, plane.crs)
        else:
            self.on_map.show(None)

    def _closed_or_opened(self, is_closed: bool) -> None:
        """What was drawn on the map goes with the panel and comes back with it."""
        if is_closed:
            for tool in (self.line_tool, self.section_tool):
                self.canvas.unsetMapTool(tool)
            self.on_map.show(None)
        else:
            self._show_on_map()

    def _pointed(self, distance_m: float, depth_m: float) -> None:
        self.on_map.mark(distance_m)
        self._say(place=(distance_m, depth_m))

    def _layers_go(self, ids) -> None:
        if self.editing.holds_one_of(ids):
            self._forget()

    def _forget(self) -> None:
        """The layers of the section are leaving the project."""
        self.editing.forget()
        self.section = None
        self.on_map.show(None)
        self.speed_row.hide()
        self.view.show_message(tr("Choose a scan line on the map, or draw a section across the depth slices."))
        self.bar.show_editing(None, False)
        self._say()

    def _say(self, sentence: str = "", place=None) -> None:
        """A sentence below the section; without one, what is shown there and where the mouse is."""
        if not sentence and self.section is not None:
            sentence = (
                self.section.title
                + ". "
                + tr(
                    "Rings: picks; diamonds: items; error bars: 95 per cent intervals of position. Hatched: unknown, "
                    "never clear."
                )
            )
            if place is not None:
                sentence = tr("{distance:.3f} m, depth {depth:.0f} mm", distance=place[0], depth=1000 * place[1])
                if self.section.picture is not None:
                    time = float(self.section.picture.time_of_depth(place[1]))
                    sentence += tr(", {time:.2f} ns", time=time)
                sentence = f"{self.section.title}: {sentence}"
        self.footer.setText(sentence)
