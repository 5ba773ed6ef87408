"""An answer of the record on the map: its layers in a group of their own, the place that was asked for, and the way to each row."""

from typing import List

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCsException,
    QgsGeometry,
    QgsProject,
    QgsRectangle,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.gui import QgsRubberBand
from qgis.PyQt.QtGui import QColor

from ....processing.common import cautions
from ....processing.common.language import tr
from ....processing.record.schema import GEOMETRY, ITEMS
from ....processing.reports.record_answer import UNKNOWN_LAYER
from ...project.layers import table_layer
from ...record.places import Place
from ...styles import items, plan, record

# Table of an answer, name on screen, style; from the top. Only what holds something is shown.
TABLES = (
    ("verifications", tr("Verifications"), record.style_verifications),
    ("penetrations", tr("Penetrations that were checked"), plan.style_penetrations),
    (ITEMS.name, tr("Known items, depth to top in mm"), items.style_items),
    (UNKNOWN_LAYER, tr("Unknown ground"), record.style_unknown_ground),
)
LEAST_M = 0.3  # what is zoomed to is shown with this much around it


class AnswerOnMap:
    """Layers and outline of one answer at a time on one map."""

    def __init__(self, project: QgsProject, canvas):
        self.project, self.canvas = project, canvas
        self.crs = QgsCoordinateReferenceSystem()
        self._layer_ids: List[str] = []
        self._place: Place = Place("")
        self._outline = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.PolygonGeometry)
        self._outline.setStrokeColor(QColor("#d55e00"))
        self._outline.setFillColor(QColor(0, 0, 0, 0))
        self._outline.setWidth(2)

    def show(self, path: str) -> None:
        """The layers of another answer, in place of those of the one before."""
        self.clear()
        # As QGIS reads it back from the file, the same site grid may have another name than that of the record.
        self.crs = table_layer(path, ITEMS.name).crs()
        is_new = not any(layer.isSpatial() for layer in self.project.mapLayers().values())
        group = self.project.layerTreeRoot().insertGroup(0, tr("Answer of the record (temporary)"))
        for table, title, style in TABLES:
            layer = table_layer(path, table, title=title)
            if layer.isValid() and layer.featureCount():
                style(layer)
                metadata = layer.metadata()
                metadata.setAbstract(cautions.SHORT)
                layer.setMetadata(metadata)
                self.project.addMapLayer(layer, False)
                group.addLayer(layer).setExpanded(False)
                self._layer_ids.append(layer.id())
        if is_new and self._layer_ids:
            self.project.setCrs(self.crs)
            self.project.setEllipsoid("NONE")  # a site grid is flat

    def clear(self) -> None:
        """Take the layers off the map again."""
        nodes = [self.project.layerTreeRoot().findLayer(layer.id()) for layer in self._layers()]
        groups = {id(node.parent()): node.parent() for node in nodes if node is not None}
        self.project.removeMapLayers([layer.id() for layer in self._layers()])
        for group in groups.values():
            if group.parent() is not None and not group.children():
                group.parent().removeChildNode(group)
        self._layer_ids = []

    def outline(self, place: Place) -> None:
        """Draw the place that is asked for."""
        self._place = place
        self._outline.reset(QgsWkbTypes.GeometryType.PolygonGeometry)
        if place.geometry is not None:
            self._outline.setToGeometry(place.geometry, place.crs)

    def show_outline(self, wanted: bool) -> None:
        """The outline goes with the panel and comes back with it."""
        self._outline.setVisible(wanted and self._place.geometry is not None)

    def zoom_to(self, row) -> str:
        """Show a row of the answer in the map and select it; a sentence where the map does not reach it."""
        corners = row[GEOMETRY][0] if isinstance(row[GEOMETRY][0][0], (list, tuple)) else row[GEOMETRY]
        box = QgsGeometry.fromWkt(_points(corners)).boundingBox()
        margin = max(LEAST_M, 0.1 * max(box.width(), box.height()))
        self._select(row)
        return self._zoom(box.buffered(margin))

    def zoom_to_all(self) -> str:
        """Show all of the answer."""
        box = QgsRectangle()
        for layer in self._layers():
            box.combineExtentWith(layer.extent())
        return self._zoom(box.buffered(LEAST_M)) if not box.isNull() else ""

    def remove(self) -> None:
        """Leave nothing on the map."""
        self.clear()
        self.canvas.scene().removeItem(self._outline)

    def _zoom(self, box: QgsRectangle) -> str:
        try:
            step = QgsCoordinateTransform(self.crs, self.canvas.mapSettings().destinationCrs(), self.project)
            box = step.transformBoundingBox(box)
        except QgsCsException:
            return tr("This place lies outside the area of use of the map's coordinate system.")
        self.canvas.setExtent(box)
        self.canvas.refresh()
        return ""

    def _layers(self) -> List[QgsVectorLayer]:
        """Those that the user has left in the project."""
        found = (self.project.mapLayer(name) for name in self._layer_ids)
        return [layer for layer in found if layer is not None]

    def _select(self, row) -> None:
        for layer in self._layers():
            if layer.source().endswith("layername=items"):
                name = row.get(ITEMS.item_id, "").replace("'", "''")
                layer.selectByExpression(f"\"{ITEMS.item_id}\" = '{name}'")


def _points(corners) -> str:
    return "MULTIPOINT ({})".format(", ".join(f"({point[0]!r} {point[1]!r})" for point in corners))
