"""The ways to say on the map which place the record panel asks about: drawn, selected, in view, everything."""

from typing import Callable, Optional

from qgis.core import QgsGeometry, QgsPointXY, QgsVectorLayer
from qgis.PyQt.QtWidgets import QAction

from ....processing.common.errors import InslabError, ProcessingError
from ....processing.common.language import tr
from ...maptools.draw_shape import AREA, LINE, DrawShapeTool
from ...record.places import Place, single_place


class AskedOnMap:
    """Connects the buttons of `controls`; `ask` is called with each place, `say` with a list of sentences where there is none."""

    def __init__(self, iface, controls, ask: Callable[[Optional[Place]], None], say):
        self.iface, self.canvas, self.ask, self.say = iface, iface.mapCanvas(), ask, say
        self.area_tool = self._tool(controls.draw_area, tr("the drawn area"), AREA)
        self.line_tool = self._tool(controls.draw_line, tr("the drawn line"), LINE)
        controls.selected.clicked.connect(self.ask_selected)
        controls.view.clicked.connect(self.ask_view)
        controls.everything.clicked.connect(lambda: self.ask(Place(tr("everything"))))

    def ask_selected(self) -> None:
        """Ask about the polygon or line that is selected in the active layer."""
        try:
            self.ask(self._selected())
        except InslabError as error:
            self.say([str(error)])

    def ask_view(self) -> None:
        """Ask about what the map shows."""
        corners = [QgsPointXY(corner) for corner in self.canvas.mapSettings().visiblePolygon()]
        # Left open, as QGIS gives it, it would be a line, and the answer that of a strip along the edge of the map.
        shown = QgsGeometry.fromPolygonXY([[*corners, corners[0]]])
        self.ask(Place(tr("what the map shows"), shown, self.canvas.mapSettings().destinationCrs()))

    def ask_drawn(self, points, words: str, kind) -> None:
        """Ask about an area or a line through points on the map."""
        shape = QgsGeometry.fromPolygonXY([points]) if kind == AREA else QgsGeometry.fromPolylineXY(points)
        self.ask(Place(words, shape, self.canvas.mapSettings().destinationCrs()))

    def let_go(self) -> None:
        """The map has another tool than ours."""
        for tool in (self.area_tool, self.line_tool):
            self.canvas.unsetMapTool(tool)

    def remove(self) -> None:
        """Leave nothing on the map."""
        self.let_go()
        for tool in (self.area_tool, self.line_tool):
            tool.remove()

    def _selected(self) -> Place:
        layer = self.iface.activeLayer()
        if not isinstance(layer, QgsVectorLayer):
            raise ProcessingError(tr("Make the layer of the polygon or line active, and select it there."))
        shapes = [feature.geometry() for feature in layer.getSelectedFeatures() if feature.hasGeometry()]
        return single_place(shapes, layer.crs())

    def _tool(self, button, words: str, kind) -> DrawShapeTool:
        tool = DrawShapeTool(self.canvas, lambda points: self.ask_drawn(points, words, kind), kind)
        action = QAction(button.text(), button)
        action.setToolTip(button.toolTip())
        action.setCheckable(True)
        action.triggered.connect(lambda: self.canvas.setMapTool(tool))
        button.setDefaultAction(action)
        tool.setAction(action)
        return tool
