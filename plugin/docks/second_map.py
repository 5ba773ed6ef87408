"""A second map beside the first that shows the same place at another depth."""

from typing import List

from qgis.core import QgsProject, QgsRasterLayer
from qgis.gui import QgsDockWidget, QgsMapCanvas, QgsMapToolPan
from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import QComboBox, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from ...processing.common.language import tr
from ...processing.floor.result import SLICES
from ..project.shown import first_visible, shown_planes
from ..styles import slices
from ..styles.depth import DepthWindow


class SecondMap(QgsDockWidget):
    """Follows the main map, its extent and its layers; only the depth differs."""

    closedByUser = pyqtSignal()

    def __init__(self, main_canvas: QgsMapCanvas, parent=None):
        super().__init__(tr("Second depth"), parent)
        self.setObjectName("Inslab_second_map")
        self.main = main_canvas
        self.canvas = QgsMapCanvas()
        self.canvas.setCanvasColor(main_canvas.canvasColor())
        self._pan = QgsMapToolPan(self.canvas)
        self.canvas.setMapTool(self._pan)
        self.depths = QComboBox()
        self.depths.setToolTip(tr("Depth that this second map shows."))
        self._margin_m, self._others = 0.0, "faint"
        self._clones: List[QgsRasterLayer] = []
        self._copying = False
        row = QHBoxLayout()
        row.addWidget(QLabel(tr("Depth")))
        row.addWidget(self.depths, 1)
        box = QVBoxLayout()
        box.addLayout(row)
        box.addWidget(self.canvas, 1)
        inner = QWidget()
        inner.setLayout(box)
        self.setWidget(inner)
        self.depths.currentIndexChanged.connect(self.follow_layers)
        self.main.extentsChanged.connect(self._follow_extent)
        self.main.layersChanged.connect(self.follow_layers)
        self.canvas.extentsChanged.connect(self._lead_extent)

    def show_depths(self, ranges_m, number: int) -> None:
        """The slices to choose from, and the one to show first."""
        self.depths.blockSignals(True)
        self.depths.clear()
        self.depths.addItems([f"{1000 * top:.0f}–{1000 * base:.0f} mm" for top, base in ranges_m])
        self.depths.setCurrentIndex(min(number, len(ranges_m) - 1))
        self.depths.blockSignals(False)
        self.follow_layers()
        self._follow_extent()

    def set_window(self, margin_m: float, others: str) -> None:
        """How far from the slice items are drawn in full, and how the others are drawn."""
        self._margin_m, self._others = margin_m, others
        self.follow_layers()

    def follow_layers(self) -> None:
        """Show what the main map shows, with the slices of the plane at this map's own depth."""
        project, number = QgsProject.instance(), self.depths.currentIndex()
        planes = shown_planes(project)
        at = {plane.layer(SLICES).id() for plane in planes if plane.layer(SLICES) is not None}
        first = first_visible([plane for plane in planes if plane.layer(SLICES) is not None], project)
        if number < 0 or first is None:
            return
        ranges = slices.band_ranges_m(first.layer(SLICES))
        top, base = ranges[min(number, len(ranges) - 1)]
        layers, clones = [], []
        for layer in self.main.layers():
            if layer.id() in at:
                layer = layer.clone()
                slices.show_depth(layer, 0.5 * (top + base))
                clones.append(layer)
            layers.append(layer)
        window = DepthWindow(top - self._margin_m, base + self._margin_m, self._others)
        for name, value in window.variables.items():
            self.canvas.expressionContextScope().setVariable(name, value)
        self.canvas.setDestinationCrs(self.main.mapSettings().destinationCrs())
        self.canvas.setLayers(layers)
        self._clones = clones  # those shown before go only now
        self.canvas.refreshAllLayers()

    def close_down(self) -> None:
        """Let go of the main map and of all layers."""
        self.main.extentsChanged.disconnect(self._follow_extent)
        self.main.layersChanged.disconnect(self.follow_layers)
        self.canvas.stopRendering()
        self.canvas.setLayers([])
        self._clones.clear()

    def closeEvent(self, event):
        self.closedByUser.emit()
        super().closeEvent(event)

    def _follow_extent(self) -> None:
        self._copy_extent(self.main, self.canvas)

    def _lead_extent(self) -> None:
        # Only the mouse leads: this map also changes by itself, when it is resized or gets its layers.
        if self.canvas.underMouse():
            self._copy_extent(self.canvas, self.main)
        else:
            self._follow_extent()

    def _copy_extent(self, source: QgsMapCanvas, target: QgsMapCanvas) -> None:
        """Same centre and same scale; nothing where they are there already, so that the maps do not chase each other."""
        near = 0.5 * source.mapUnitsPerPixel()
        same_place = source.center().distance(target.center()) < near
        if self._copying or (same_place and abs(source.scale() / target.scale() - 1) < 1e-3):
            return
        self._copying = True
        target.setExtent(source.extent())  # brings the centre; the other map may have another shape
        target.zoomScale(source.scale())
        self._copying = False
