"""Draw a line on the map to cut the depth slices along it."""

from typing import Callable, List

from qgis.core import QgsPointXY, QgsWkbTypes
from qgis.gui import QgsMapTool, QgsRubberBand
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor


class DrawSectionTool(QgsMapTool):
    """Left clicks set the corners; a right click or a double click ends the line and gives it to `drawn` (map coordinates)."""

    def __init__(self, canvas, drawn: Callable[[List[QgsPointXY]], None]):
        super().__init__(canvas)
        self._drawn = drawn
        self._points: List[QgsPointXY] = []
        self._band = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.LineGeometry)
        self._band.setColor(QColor("#d55e00"))
        self._band.setWidth(2)
        self.setCursor(Qt.CursorShape.CrossCursor)

    def canvasReleaseEvent(self, event):
        point = self.toMapCoordinates(event.pos())
        if event.button() == Qt.MouseButton.LeftButton:
            self._points.append(point)
            self._show([*self._points, point])
        elif event.button() == Qt.MouseButton.RightButton:
            self._finish()

    def canvasMoveEvent(self, event):
        if self._points:
            self._show([*self._points, self.toMapCoordinates(event.pos())])

    def canvasDoubleClickEvent(self, event):
        self._finish()

    def keyPressEvent(self, event):
        if event.key() == Qt.Key.Key_Escape:
            self._clear()
            event.accept()

    def deactivate(self):
        self._clear()
        super().deactivate()

    def remove(self) -> None:
        """Take what was drawn off the map."""
        self.canvas().scene().removeItem(self._band)

    def _finish(self) -> None:
        points = list(self._points)
        self._clear()
        if len(points) > 1:
            self._drawn(points)

    def _show(self, points) -> None:
        self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
        for point in points:
            self._band.addPoint(point)

    def _clear(self) -> None:
        self._points.clear()
        self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
