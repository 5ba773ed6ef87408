"""The depth panel: one control for the depth of everything that the map shows."""

from typing import List, Optional, Tuple

from qgis.core import QgsCoordinateTransform, QgsCsException, QgsFeatureRequest, QgsProject
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt, QTimer
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QSpinBox,
    QStyle,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...processing.errors import InslabError
from ...processing.language import tr
from ...processing.outputs.stored import read_area_depths
from ..shown import ShownPlane, first_visible, shown_planes
from ..styles import slices
from ..styles.depth import DepthWindow, set_window, window_of
from .depth_scale import DepthScale
from .second_map import SecondMap

PLAY_MS = 700
OTHERS = (("shown", tr("Shown")), ("faint", tr("Faint")), ("hidden", tr("Hidden")))


def make(desk) -> "DepthPanel":
    """The panel of the registry."""
    return DepthPanel(desk)


class DepthPanel(QgsDockWidget):
    """Level, depth, and what becomes of items at other depths; a second map for another depth."""

    def __init__(self, desk):
        super().__init__(desk.iface.mainWindow())
        self.iface, self.canvas, self.project = desk.iface, desk.iface.mapCanvas(), QgsProject.instance()
        self.second: Optional[SecondMap] = None
        self._depths_of = ("", {})  # survey path and its reliable depths, read once
        self._build()
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

    def _build(self) -> None:
        self.level = QComboBox()
        self.level.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.level.setMinimumContentsLength(10)
        self.level.setToolTip(tr("Level and side to look at; the groups of the others are switched off."))
        self.scale = DepthScale()
        self.scale.setToolTip(
            tr(
                "Depth shown. Drag, or use the wheel and the arrow keys. Bars: items at that depth. Hatched: deeper than reliable."
            )
        )
        self.scale.setAccessibleName(tr("Depth"))
        style = self.style()
        self.shallower = self._button(style.standardIcon(QStyle.StandardPixmap.SP_ArrowUp), tr("One slice shallower."))
        self.deeper = self._button(style.standardIcon(QStyle.StandardPixmap.SP_ArrowDown), tr("One slice deeper."))
        self.play = self._button(
            style.standardIcon(QStyle.StandardPixmap.SP_MediaPlay), tr("Go through all depths, again and again."), True
        )
        self.beside = self._button(None, tr("A second map of the same place at another depth."), True)
        self.beside.setText(tr("Second map"))
        self.margin = QSpinBox()
        self.margin.setRange(0, 500)
        self.margin.setSingleStep(5)
        self.margin.setPrefix("± ")
        self.margin.setSuffix(" mm")
        self.margin.setToolTip(tr("Items and picks this much above and below the slice still belong to it."))
        self.others = QComboBox()
        for key, text in OTHERS:
            self.others.addItem(text, key)
        self.others.setCurrentIndex(1)
        self.others.setToolTip(
            tr("How items and picks at other depths are drawn. Hidden ones are still there: hidden is not clear.")
        )
        buttons = QHBoxLayout()
        for button in (self.shallower, self.deeper, self.play, self.beside):
            buttons.addWidget(button)
        buttons.addStretch(1)
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("Items within"), self.margin)
        form.addRow(tr("At other depths"), self.others)
        box = QVBoxLayout()
        box.addWidget(self.level)
        box.addWidget(self.scale, 1)
        box.addLayout(buttons)
        box.addLayout(form)
        inner = QWidget()
        inner.setLayout(box)
        self.setWidget(inner)
        self.level.activated.connect(lambda _index: self.choose_plane(self.level.currentData()))
        self.scale.valueChanged.connect(lambda _value: self.apply())
        self.shallower.clicked.connect(lambda: self.scale.setValue(self.scale.value() - 1))
        self.deeper.clicked.connect(lambda: self.scale.setValue(self.scale.value() + 1))
        self.play.toggled.connect(self._set_playing)
        self.beside.toggled.connect(self._set_beside)
        self.margin.valueChanged.connect(lambda _value: self.apply())
        self.others.currentIndexChanged.connect(lambda _index: self.apply())

    def _button(self, icon, tip: str, checkable: bool = False) -> QToolButton:
        button = QToolButton()
        button.setToolTip(tip)
        button.setAccessibleName(tip)
        button.setCheckable(checkable)
        if icon is not None:
            button.setIcon(icon)
        return button

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
        layer = chosen.layer("slices") if chosen else None
        self.scale.blockSignals(True)
        self.scale.show_slices(slices.band_ranges_m(layer) if layer else [], self._item_depths(chosen))
        self.scale.setValue(slices.shown_band(layer) - 1 if layer else 0)
        self.scale.blockSignals(False)
        self._take_window()
        if self.window is not None:
            self.scale.show_window(self.window.from_m, self.window.to_m)
        for control in (self.shallower, self.deeper, self.play, self.beside):
            control.setEnabled(layer is not None)
        self._depths_of = ("", {})
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
            if plane.layer("slices") is not None:
                slices.show_depth(plane.layer("slices"), middle)
                # Otherwise the legend goes on naming the band that was drawn before.
                self.iface.layerTreeView().refreshLayerSymbology(plane.layer("slices").id())
            for name in ("items", "picks"):
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
        areas = self.plane.layer("scan_areas") if self.plane else None
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
            self._own_width = self.width()
            self.second = SecondMap(self.canvas, window)
            self.second.closedByUser.connect(lambda: self.beside.setChecked(False))
            self.iface.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, self.second)
            if not self.isFloating():
                window.splitDockWidget(self.second, self, Qt.Orientation.Horizontal)
            self.second.set_window(0.001 * self.margin.value(), self.others.currentData())
            self.second.show_depths(self.scale.ranges_m, self.scale.value() + 1)
            self.second.show()
            half = (self.canvas.width() + self.second.width()) // 2
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
        layer = plane.layer("items") if plane else None
        if layer is None:
            return []
        request = QgsFeatureRequest().setFlags(QgsFeatureRequest.Flag.NoGeometry)
        depths = (feature["depth_min_m"] for feature in layer.getFeatures(request))
        return [depth for depth in depths if isinstance(depth, (int, float))]

    def _show_reliable(self) -> None:
        self.scale.show_reliable(self.reliable_in_view(self.plane))

    def reliable_in_view(self, plane: Optional[ShownPlane]) -> Optional[Tuple[float, float]]:
        """Smallest and largest reliable depth of the areas that the map shows, metres; None if one of them has none."""
        layer = plane.layer("scan_areas") if plane else None
        if layer is None:
            return None
        transform = QgsCoordinateTransform(self.canvas.mapSettings().destinationCrs(), layer.crs(), self.project)
        try:
            extent = transform.transformBoundingBox(self.canvas.extent())
        except QgsCsException:
            return None  # the map shows a place where the site grid has no meaning
        request = QgsFeatureRequest().setFilterRect(extent)
        seen = [feature["area_id"] for feature in layer.getFeatures(request)]
        known = self._reliable_depths(plane.survey_path)
        depths = [known.get(area_id) for area_id in seen]
        if not depths or None in depths:
            return None
        return min(depths), max(depths)

    def _reliable_depths(self, survey_path: str):
        if self._depths_of[0] != survey_path:
            try:
                depths = {area_id: one.reliable_m for area_id, one in read_area_depths(survey_path).items()}
            except (InslabError, OSError):
                depths = {}  # a file that is gone: nothing is known
            self._depths_of = (survey_path, depths)
        return self._depths_of[1]
