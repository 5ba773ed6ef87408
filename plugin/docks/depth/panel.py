"""The depth panel: one control for the depth of everything that the map shows."""

from typing import List, Optional

from qgis.core import QgsCoordinateTransform, QgsFeatureRequest, QgsProject
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt, QTimer
from qgis.PyQt.QtWidgets import QStyle

from ....processing.floor.result import SLICES
from ....processing.store.schema import ITEMS, PICKS, SCAN_AREAS
from ...project.shown import ShownPlane, first_visible, shown_planes
from ...styles import slices
from ...styles.depth import DepthWindow, set_window, window_of
from ..second_map import SecondMap
from .controls import DepthControls
from .reliable import ReliableDepths

PLAY_MS = 700


def make(desk) -> "DepthPanel":
    """The panel of the registry."""
    return DepthPanel(desk)


class DepthPanel(QgsDockWidget):
    """Level, depth, and what becomes of items at other depths; a second map for another depth."""

    def __init__(self, desk):
        super().__init__(desk.iface.mainWindow())
        self.iface, self.canvas, self.project = desk.iface, desk.iface.mapCanvas(), QgsProject.instance()
        self.second: Optional[SecondMap] = None
        self.reliable = ReliableDepths(self.canvas)
        controls = DepthControls()
        self.setWidget(controls)
        self.level, self.scale, self.margin, self.others = (
            controls.level,
            controls.scale,
            controls.margin,
            controls.others,
        )
        self.shallower, self.deeper = controls.shallower, controls.deeper
        self.play, self.beside = controls.play, controls.beside
        self._connect()
        self._timer = QTimer(self)
        self._timer.setInterval(PLAY_MS)
        self._timer.timeout.connect(self._play_on)
        self._soon = QTimer(self)  # many changes of a project in one go are one change for us
        self._soon.setSingleShot(True)
        self._soon.timeout.connect(self.refresh)
        self._look_soon = QTimer(self)
        self._look_soon.setSingleShot(True)
        self._look_soon.timeout.connect(self._show_reliable)
        self.project.layersAdded.connect(self._project_changed)
        self.project.layersRemoved.connect(self._project_changed)
        self.project.readProject.connect(self._project_changed)
        self.canvas.extentsChanged.connect(self._view_changed)
        self.closed.connect(lambda: self.play.setChecked(False))
        self.refresh()

    def _connect(self) -> None:
        self.level.activated.connect(lambda _index: self.choose_plane(self.level.currentData()))
        self.scale.valueChanged.connect(lambda _value: self.apply())
        self.shallower.clicked.connect(lambda: self.scale.setValue(self.scale.value() - 1))
        self.deeper.clicked.connect(lambda: self.scale.setValue(self.scale.value() + 1))
        self.play.toggled.connect(self._set_playing)
        self.beside.toggled.connect(self._set_beside)
        self.margin.valueChanged.connect(lambda _value: self.apply())
        self.others.currentIndexChanged.connect(lambda _index: self.apply())

    # What is shown

    @property
    def plane(self) -> Optional[ShownPlane]:
        """The plane that is looked at; looked up anew each time, since layers come and go."""
        planes = shown_planes(self.project)
        chosen = next((plane for plane in planes if plane.key == self.level.currentData()), None)
        return chosen or first_visible(planes, self.project)

    @property
    def window(self) -> Optional[DepthWindow]:
        """The depths whose items are drawn in full; None without slices."""
        if not self.scale.ranges_m:
            return None
        top, base = self.scale.ranges_m[self.scale.value()]
        margin = 0.001 * self.margin.value()
        return DepthWindow(top - margin, base + margin, self.others.currentData())

    def refresh(self) -> None:
        """Take over what the project shows now; the map is not changed."""
        planes = shown_planes(self.project)
        chosen = self.plane
        surveys = {plane.survey_path for plane in planes}
        self.level.clear()
        for plane in planes:
            name = plane.title if len(surveys) < 2 else f"{plane.title} · {plane.survey_path}"
            self.level.addItem(name, plane.key)
        self.level.setCurrentIndex(self.level.findData(chosen.key) if chosen else -1)
        layer = chosen.layer(SLICES) if chosen else None
        self.scale.blockSignals(True)
        self.scale.show_slices(slices.band_ranges_m(layer) if layer else [], self._item_depths(chosen))
        self.scale.setValue(slices.shown_band(layer) - 1 if layer else 0)
        self.scale.blockSignals(False)
        self._take_window()
        if self.window is not None:
            self.scale.show_window(self.window.from_m, self.window.to_m)
        for control in (self.shallower, self.deeper, self.play, self.beside):
            control.setEnabled(layer is not None)
        self.reliable.forget()
        self._show_reliable()

    def _take_window(self) -> None:
        """The window that the project was saved with."""
        window = window_of(self.project)
        if window is None or not self.scale.ranges_m:
            return
        top, base = self.scale.ranges_m[self.scale.value()]
        for control in (self.margin, self.others):
            control.blockSignals(True)
        self.margin.setValue(round(500 * (window.to_m - window.from_m - (base - top))))
        self.set_others(window.others)
        for control in (self.margin, self.others):
            control.blockSignals(False)

    def apply(self) -> None:
        """Bring the map to the depth of the panel: slices of all planes, items and picks."""
        window = self.window
        if window is None:
            return
        self.scale.show_window(window.from_m, window.to_m)
        set_window(self.project, window)
        middle = sum(self.scale.ranges_m[self.scale.value()]) / 2
        for plane in shown_planes(self.project):
            if plane.layer(SLICES) is not None:
                slices.show_depth(plane.layer(SLICES), middle)
                # Otherwise the legend goes on naming the band that was drawn before.
                self.iface.layerTreeView().refreshLayerSymbology(plane.layer(SLICES).id())
            for name in (ITEMS.name, PICKS.name):
                if plane.layer(name) is not None:
                    plane.layer(name).triggerRepaint()
        if self.second is not None:
            self.second.set_window(0.001 * self.margin.value(), self.others.currentData())

    def choose_plane(self, key: str) -> None:
        """Switch the group of one plane on and those of the others off; go there if the map shows another place."""
        for plane in shown_planes(self.project):
            group = plane.group(self.project)
            if group is not None:
                group.setItemVisibilityChecked(plane.key == key)
        self.level.setCurrentIndex(self.level.findData(key))
        self.refresh()
        areas = self.plane.layer(SCAN_AREAS.name) if self.plane else None
        if areas is not None and not self.canvas.extent().intersects(self._on_map(areas)):
            extent = self._on_map(areas)
            extent.scale(1.1)
            self.canvas.setExtent(extent)
            self.canvas.refresh()

    def set_depth(self, depth_m: float) -> None:
        """Show the slice that holds a depth."""
        found = next((n for n, (_top, base) in enumerate(self.scale.ranges_m) if depth_m < base), self.scale.maximum())
        self.scale.setValue(found)

    def set_others(self, key: str) -> None:
        """Draw items at other depths as `styles.depth.OTHER_DEPTHS` names it."""
        self.others.setCurrentIndex(self.others.findData(key))

    def show_second(self, depth_m: float) -> SecondMap:
        """Open the second map at a depth."""
        self.beside.setChecked(True)
        ranges = self.scale.ranges_m
        found = next((n for n, (_top, base) in enumerate(ranges) if depth_m < base), len(ranges) - 1)
        self.second.depths.setCurrentIndex(found)
        return self.second

    def close_down(self) -> None:
        """Let go of the project and of the map."""
        self._timer.stop()
        self._set_beside(False)
        for signal, slot in (
            (self.project.layersAdded, self._project_changed),
            (self.project.layersRemoved, self._project_changed),
            (self.project.readProject, self._project_changed),
            (self.canvas.extentsChanged, self._view_changed),
        ):
            signal.disconnect(slot)
        self._soon.stop()
        self._look_soon.stop()

    # Inside

    def _project_changed(self, *_layers) -> None:
        self._soon.start(0)

    def _view_changed(self) -> None:
        self._look_soon.start(150)

    def _set_playing(self, wanted: bool) -> None:
        icon = QStyle.StandardPixmap.SP_MediaPause if wanted else QStyle.StandardPixmap.SP_MediaPlay
        self.play.setIcon(self.style().standardIcon(icon))
        if wanted:
            self._timer.start()
        else:
            self._timer.stop()

    def _play_on(self) -> None:
        if not self.canvas.isDrawing():  # each depth is seen, however slow the map is
            self.scale.setValue(self.scale.value() + 1 if self.scale.value() < self.scale.maximum() else 0)

    def _set_beside(self, wanted: bool) -> None:
        if wanted and self.second is None:
            window = self.iface.mainWindow()
            half = self.canvas.width() // 2  # before its place is divided
            self._own_width = self.width()
            self.second = SecondMap(self.canvas, window)
            self.second.closedByUser.connect(lambda: self.beside.setChecked(False))
            self.iface.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, self.second)
            if not self.isFloating():
                window.splitDockWidget(self.second, self, Qt.Orientation.Horizontal)
            self.second.set_window(0.001 * self.margin.value(), self.others.currentData())
            self.second.show_depths(self.scale.ranges_m, self.scale.value() + 1)
            self.second.show()
            window.resizeDocks([self.second], [half], Qt.Orientation.Horizontal)
        elif not wanted and self.second is not None:
            second, self.second = self.second, None
            second.close_down()
            self.iface.removeDockWidget(second)
            second.deleteLater()
            if not self.isFloating():  # otherwise this panel would take the second map's place
                self.iface.mainWindow().resizeDocks([self], [self._own_width], Qt.Orientation.Horizontal)

    def _on_map(self, layer):
        """Extent of a layer in the coordinates of the map."""
        transform = QgsCoordinateTransform(layer.crs(), self.canvas.mapSettings().destinationCrs(), self.project)
        return transform.transformBoundingBox(layer.extent())

    def _item_depths(self, plane: Optional[ShownPlane]) -> List[float]:
        layer = plane.layer(ITEMS.name) if plane else None
        if layer is None:
            return []
        request = QgsFeatureRequest().setFlags(QgsFeatureRequest.Flag.NoGeometry)
        depths = (feature[ITEMS.depth_min_m] for feature in layer.getFeatures(request))
        return [depth for depth in depths if isinstance(depth, (int, float))]

    def _show_reliable(self) -> None:
        self.scale.show_reliable(self.reliable.in_view(self.plane))
