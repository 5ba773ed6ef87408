"""Choose a scan line by clicking on the map."""

from typing import Callable, Iterable

from qgis.core import QgsCoordinateTransform, QgsFeature, QgsFeatureRequest, QgsGeometry, QgsProject, QgsRectangle
from qgis.gui import QgsMapTool
from qgis.PyQt.QtCore import Qt

REACH_PX = 12


class ChooseLineTool(QgsMapTool):
    """Gives the feature of the nearest scan line to `chosen`; `layers` says which layers hold scan lines now."""

    def __init__(self, canvas, layers: Callable[[], Iterable], chosen: Callable[[object, QgsFeature], None]):
        super().__init__(canvas)
        self._layers, self._chosen = layers, chosen
        self.setCursor(Qt.CursorShape.CrossCursor)

    def canvasReleaseEvent(self, event):
        if event.button() == Qt.MouseButton.LeftButton:
            self.choose(self.toMapCoordinates(event.pos()))

    def choose(self, point) -> bool:
        """The scan line nearest to a point of the map, if there is one within reach of the mouse."""
        reach = REACH_PX * self.canvas().mapUnitsPerPixel()
        best = (reach, None, None)
        for layer in self._layers():
            to_layer = QgsCoordinateTransform(
                self.canvas().mapSettings().destinationCrs(), layer.crs(), QgsProject.instance()
            )
            here = to_layer.transform(point)
            box = QgsRectangle(here.x() - reach, here.y() - reach, here.x() + reach, here.y() + reach)
            for feature in layer.getFeatures(QgsFeatureRequest().setFilterRect(box)):
                away = feature.geometry().distance(QgsGeometry.fromPointXY(here))
                if away < best[0]:
                    best = (away, layer, feature)
        if best[2] is not None:
            self._chosen(best[1], best[2])
        return best[2] is not None
