"""Draw a line or an area on the map."""

from typing import Callable, List

from qgis.core import QgsPointXY, QgsWkbTypes
from qgis.gui import QgsMapTool, QgsRubberBand
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor

LINE, AREA = QgsWkbTypes.GeometryType.LineGeometry, QgsWkbTypes.GeometryType.PolygonGeometry
FEWEST = {LINE: 2, AREA: 3}


class DrawShapeTool(QgsMapTool):
    """Left clicks set the corners; a right click or a double click ends the shape and gives it to `drawn` (map coordinates).

    `kind` is LINE or AREA.
    """

    def __init__(self, canvas, drawn: Callable[[List[QgsPointXY]], None], kind=LINE):
        super().__init__(canvas)
        self._drawn, self._kind = drawn, kind
        self._points: List[QgsPointXY] = []
        self._ended = False  # by a double click, whose last release is still to come
        self._band = QgsRubberBand(canvas, kind)
        self._band.setStrokeColor(QColor("#d55e00"))
        self._band.setFillColor(QColor(213, 94, 0, 40))
        self._band.setWidth(2)
        self.setCursor(Qt.CursorShape.CrossCursor)

    def canvasPressEvent(self, event):
        self._ended = False

    def canvasReleaseEvent(self, event):
        point = self.toMapCoordinates(event.pos())
        if event.button() == Qt.MouseButton.LeftButton and not self._ended:
            self._points.append(point)
            self._show([*self._points, point])
        elif event.button() == Qt.MouseButton.RightButton:
            self._finish()

    def canvasMoveEvent(self, event):
        if self._points:
            self._show([*self._points, self.toMapCoordinates(event.pos())])

    def canvasDoubleClickEvent(self, event):
        self._finish()
        self._ended = True

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
        if len(points) >= FEWEST[self._kind]:
            self._drawn(points)

    def _show(self, points) -> None:
        self._band.reset(self._kind)
        for point in points:
            self._band.addPoint(point)

    def _clear(self) -> None:
        self._points.clear()
        self._band.reset(self._kind)
