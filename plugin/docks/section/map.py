"""The section on the map: its line, and the place under the cursor, both ways."""

from typing import Callable, Optional

from qgis.core import QgsCoordinateTransform, QgsCsException, QgsPointXY, QgsProject, QgsWkbTypes
from qgis.gui import QgsRubberBand, QgsVertexMarker
from qgis.PyQt.QtGui import QColor

from ....processing.views.section_path import SectionPath


class SectionOnMap:
    """Draws on one canvas; `place` turns canvas coordinates into distances along the section."""

    def __init__(self, canvas, pointed: Callable[[Optional[float]], None]):
        self.canvas = canvas
        self.path: Optional[SectionPath] = None
        self.crs = None
        self._pointed = pointed
        self._lines = []
        for colour, width in (("#ffffff", 5), ("#d55e00", 2)):
            line = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.LineGeometry)
            line.setColor(QColor(colour))
            line.setWidth(width)
            self._lines.append(line)
        self.marker = QgsVertexMarker(canvas)
        self.marker.setIconType(QgsVertexMarker.IconType.ICON_CIRCLE)
        self.marker.setColor(QColor("#0072b2"))
        self.marker.setFillColor(QColor(255, 255, 255, 200))
        self.marker.setPenWidth(3)
        self.marker.setIconSize(canvas.fontMetrics().height())
        self.marker.hide()
        canvas.xyCoordinates.connect(self._map_pointed)
        canvas.destinationCrsChanged.connect(self.draw)

    def show(self, path: Optional[SectionPath], crs=None) -> None:
        """Another section, in the coordinates of `crs`; None for none."""
        self.path, self.crs = path, crs
        self.marker.hide()
        self.draw()

    def draw(self) -> None:
        """The line, in the map's present coordinate system."""
        for line in self._lines:
            line.reset(QgsWkbTypes.GeometryType.LineGeometry)
            if self.path is not None:
                for vertex in self.path.vertices_m:
                    line.addPoint(self._to_map(QgsPointXY(*vertex)))

    def mark(self, distance_m: Optional[float]) -> None:
        """Show the place at a distance along the section; None for none."""
        if self.path is None or distance_m is None:
            self.marker.hide()
            return
        self.marker.setCenter(self._to_map(QgsPointXY(*self.path.points_at(distance_m)[0])))
        self.marker.show()

    def remove(self) -> None:
        """Leave nothing on the canvas."""
        self.canvas.xyCoordinates.disconnect(self._map_pointed)
        self.canvas.destinationCrsChanged.disconnect(self.draw)
        for item in (*self._lines, self.marker):
            self.canvas.scene().removeItem(item)

    def from_map(self, point: QgsPointXY) -> QgsPointXY:
        """Coordinates of the section's system."""
        of_map = self.canvas.mapSettings().destinationCrs()
        return QgsCoordinateTransform(of_map, self.crs, QgsProject.instance()).transform(point)

    def _map_pointed(self, point: QgsPointXY) -> None:
        if self.path is None:
            return
        try:
            distance, away = self.path.place(tuple(self.from_map(point)))
        except QgsCsException:
            return
        # Beside the line its foot still tells which trace is meant; far off nothing is meant.
        self._pointed(distance if away < 0.25 * self.path.length_m else None)

    def _to_map(self, point: QgsPointXY) -> QgsPointXY:
        of_map = self.canvas.mapSettings().destinationCrs()
        return QgsCoordinateTransform(self.crs, of_map, QgsProject.instance()).transform(point)
