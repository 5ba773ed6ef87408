"""Plans as layouts: one page with a map at a round scale, site-grid coordinates, legend, scale bar and arrows."""

import math
from pathlib import Path
from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np
from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsFillSymbol,
    QgsGeometry,
    QgsLayoutItemLegend,
    QgsLayoutItemMap,
    QgsLayoutItemMapGrid,
    QgsLayoutItemPage,
    QgsLayoutItemScaleBar,
    QgsLegendStyle,
    QgsPointXY,
    QgsPrintLayout,
    QgsProject,
    QgsProperty,
    QgsRectangle,
    QgsSingleSymbolRenderer,
    QgsSymbolLayer,
    QgsUnitTypes,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor

from ...processing.language import tr
from ...processing.outputs.paper import MapSheet
from ...processing.outputs.stored import read_crs_wkt
from ...processing.site.crs import is_tied, to_national
from ..layers import Plane, table_source
from ..styles.items import style_items
from ..styles.penetrations import style_verdicts
from ..styles.plan import style_control_points, style_penetrations, style_scan_areas
from .page import Page, page_font, set_font, style_scanned

SCALES = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000)
STEPS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
A4_MM = (210.0, 297.0)
EDGE_MM, TOP_MM, NUMBERS_MM = 15.0, 27.0, 9.0  # margin; where the map begins; room for coordinates beside it
BELOW_MM = 68.0  # for caption, scale bar, legend and foot
TICKS_MM = 22.0  # grid lines are no closer than this
UNSEEN_GREY = "#d9d9d9"
ARROW = Path(__file__).parent / "arrow.svg"


class MapDrawer:
    """Makes the layouts of plans; layers are opened here, once for each plane, and belong to no project that a user sees."""

    def __init__(self, survey_path, holes: Sequence[Tuple[object, Mapping]] = ()):
        self.survey_path, self.holes = Path(survey_path), list(holes)
        self.project = QgsProject()
        self.project.setEllipsoid("NONE")
        self.crs_wkt = read_crs_wkt(survey_path)
        self._planes = {}

    def draw(self, sheet: MapSheet) -> QgsPrintLayout:
        """A layout with one page."""
        width, height = np.diff(sheet.extent_m, axis=0)[0]
        lying, scale = _format(width, height)
        layout = QgsPrintLayout(self.project)
        layout.initializeDefaults()
        layout.setName(sheet.title)
        self.project.layoutManager().addLayout(layout)  # which then dies before the project, as it must
        orientations = QgsLayoutItemPage.Orientation
        layout.pageCollection().page(0).setPageSize("A4", orientations.Landscape if lying else orientations.Portrait)
        _Plan(layout, self, sheet, lying, scale).fill()
        return layout

    def forget(self, layout: QgsPrintLayout) -> None:
        """Drops a layout that has been drawn."""
        self.project.layoutManager().removeLayout(layout)

    def layers(self, level: str, surface: str) -> list:
        """What a plan shows, from the top: holes, items, control points, areas, scanned ground."""
        if (level, surface) not in self._planes:
            self._planes[level, surface] = self._open(level, surface)
        return self._planes[level, surface]

    def _open(self, level: str, surface: str) -> list:
        areas = self._table("scan_areas", f'"level" = {_quoted(level)} AND "surface" = {_quoted(surface)}')
        names = tuple(sorted(feature["area_id"] for feature in areas.getFeatures())) if areas else ()
        plane = Plane(level, surface, names)
        found = [self._hole_layer(level, surface)]
        for table, title, style in (
            ("items", tr("Items, 95 % strip in plan"), style_items),
            ("control_points", tr("Control point, residual"), style_control_points),
            ("scan_areas", tr("Scan area"), _style_areas),
            ("coverage", "", style_scanned),
        ):
            more = ' AND "line_directions" >= 2' if table == "coverage" else ""
            layer = self._table(table, plane.filter(table) + more) if names or table == "items" else None
            if layer is not None:
                layer.setName(title)
                style(layer)
                found.append(layer)
        if self.project.crs().isValid() is False and len(found) > 1:
            self.project.setCrs(found[1].crs())
            self.project.setEllipsoid("NONE")
        return [layer for layer in found if layer is not None]

    def _table(self, table: str, where: str) -> Optional[QgsVectorLayer]:
        # The filter stands in the source: see plugin/layers.py.
        layer = QgsVectorLayer(f"{table_source(self.survey_path, table)}|subset={where}", table, "ogr")
        return self.project.addMapLayer(layer) if layer.isValid() else None

    def _hole_layer(self, level: str, surface: str) -> Optional[QgsVectorLayer]:
        """The planned holes of a plane as a layer of its own, with the columns that its style looks at."""
        own = [
            (place, row)
            for place, row in self.holes
            if (row.get("level") or level, row.get("surface") or "top") == (level, surface)
        ]
        if not own:
            return None
        names = {"penetration_id": "string", "verdict": "string", "diameter_m": "double", "margin_m": "double"}
        fields = "&".join(f"field={name}:{kind}" for name, kind in names.items())
        layer = QgsVectorLayer(f"Point?{fields}", tr("Planned holes"), "memory")
        layer.setCrs(self._table_crs())
        for place, row in own:
            feature = QgsFeature(layer.fields())
            feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(float(place[0]), float(place[1]))))
            feature.setAttributes([row.get(name) for name in names])
            layer.dataProvider().addFeature(feature)
        checked = any(row.get("verdict") for _, row in own)
        (style_verdicts if checked else style_penetrations)(layer)
        return self.project.addMapLayer(layer)

    def _table_crs(self) -> QgsCoordinateReferenceSystem:
        return QgsCoordinateReferenceSystem.fromWkt(self.crs_wkt)

    def national_north_deg(self, sheet: MapSheet) -> Optional[float]:
        """Direction of the national grid's north on the plan, degrees clockwise from site y; None where there is none."""
        if sheet.surface == "wall" or not is_tied(self.crs_wkt):
            return None
        middle = sheet.extent_m.mean(axis=0)
        (east, north), (ahead_east, ahead_north) = to_national(self.crs_wkt, [middle, middle + [0.0, 1.0]])[0]
        return -math.degrees(math.atan2(ahead_east - east, ahead_north - north))


class _Plan(Page):
    """The page of one plan."""

    def __init__(self, layout, drawer: MapDrawer, sheet: MapSheet, lying: bool, scale: int):
        super().__init__(layout)
        self.drawer, self.sheet, self.scale = drawer, sheet, scale
        self.page_width, self.page_height = A4_MM[::-1] if lying else A4_MM
        self.map_width, self.map_height = _room(lying)

    def fill(self) -> None:
        self.text(self.sheet.title, 13, 13, bold=True, width=self.page_width - 2 * EDGE_MM)
        view = self._map()
        below = TOP_MM + self.map_height + NUMBERS_MM
        words = tr("Scale 1:{scale} on A4. {caption}", scale=self.scale, caption=self.sheet.caption)
        self.text(words, below, 8, width=self.page_width - 2 * EDGE_MM, height=5)
        self._scale_bar(view, below + 6)
        self._arrows(below + 5)
        self._legend(view, below + 22)

    def _map(self) -> QgsLayoutItemMap:
        view = QgsLayoutItemMap(self.layout)
        middle = self.sheet.extent_m.mean(axis=0)
        half = np.array([self.map_width, self.map_height]) / 2000.0 * self.scale
        extent = QgsRectangle(*(middle - half), *(middle + half))
        view.setExtent(extent)  # before the size: a new map has none in QGIS 3.22
        self.place(view, EDGE_MM + NUMBERS_MM, TOP_MM, self.map_width, self.map_height)
        layers = self.drawer.layers(self.sheet.level, self.sheet.surface)
        view.setLayers(layers)
        view.setKeepLayerSet(True)
        if layers:
            view.setCrs(layers[-1].crs())
        view.setFrameEnabled(True)
        view.setBackgroundColor(QColor(UNSEEN_GREY))
        view.setExtent(extent)
        self._grid(view)
        return view

    def _grid(self, view: QgsLayoutItemMap) -> None:
        step = next((step for step in STEPS_M if 1000 * step / self.scale >= TICKS_MM), STEPS_M[-1])
        grid = QgsLayoutItemMapGrid("site grid", view)
        view.grids().addGrid(grid)
        grid.setIntervalX(step)
        grid.setIntervalY(step)
        # Ticks at the frame only: crosses on the plan could be taken for control points.
        grid.setStyle(QgsLayoutItemMapGrid.GridStyle.FrameAnnotationsOnly)
        grid.setFrameStyle(QgsLayoutItemMapGrid.FrameStyle.ExteriorTicks)
        grid.setFrameWidth(1.5)
        grid.setAnnotationEnabled(True)
        grid.setAnnotationPrecision(1 if step < 1 else 0)
        if hasattr(grid, "setAnnotationTextFormat"):
            words = grid.annotationTextFormat()
            words.setFont(page_font(7))
            words.setSize(7)
            grid.setAnnotationTextFormat(words)
        else:
            grid.setAnnotationFont(page_font(7))
        sides = QgsLayoutItemMapGrid.BorderSide
        for side in (sides.Right, sides.Top):
            grid.setAnnotationDisplay(QgsLayoutItemMapGrid.DisplayMode.HideAll, side)
        for side in (sides.Left, sides.Bottom):
            grid.setAnnotationPosition(QgsLayoutItemMapGrid.AnnotationPosition.OutsideMapFrame, side)
        grid.setAnnotationDirection(QgsLayoutItemMapGrid.AnnotationDirection.Vertical, sides.Left)

    def _scale_bar(self, view: QgsLayoutItemMap, top: float) -> None:
        bar = QgsLayoutItemScaleBar(self.layout)
        bar.setStyle("Single Box")
        bar.setLinkedMap(view)
        bar.setUnits(QgsUnitTypes.DistanceUnit.DistanceMeters)
        bar.setUnitLabel("m")
        bar.setMapUnitsPerScaleBarUnit(1.0)
        step = max(step for step in (0.01, 0.02, 0.05, *STEPS_M) if 1000 * step / self.scale <= 20)
        bar.setUnitsPerSegment(step)
        bar.setNumberOfSegments(4)
        bar.setNumberOfSegmentsLeft(0)
        bar.setHeight(2.0)
        set_font(bar, 7.5)
        self.place(bar, EDGE_MM + NUMBERS_MM, top, 90, 11)
        bar.update()

    def _arrows(self, top: float) -> None:
        """Site y, and grid north where the site grid is tied."""
        right = self.page_width - EDGE_MM
        upwards = tr("up") if self.sheet.surface == "wall" else tr("site y")
        arrows = [(upwards, 0.0)]
        north = self.drawer.national_north_deg(self.sheet)
        if north is not None:
            arrows.append((tr("grid north"), north))
        for number, (words, turn) in enumerate(reversed(arrows)):
            left = right - 18.0 * (number + 1)
            picture = self.picture(ARROW, top, 12, left + 2, 12)
            picture.setPictureRotation(turn)
            label = self.text(words, top + 12.5, 7, left=left - 2, width=20, height=4)
            label.setHAlign(Qt.AlignmentFlag.AlignHCenter)

    def _legend(self, view: QgsLayoutItemMap, top: float) -> None:
        legend = QgsLayoutItemLegend(self.layout)
        legend.setTitle("")
        legend.setLinkedMap(view)
        legend.setAutoUpdateModel(False)
        root = legend.model().rootGroup()
        root.clear()
        for layer in self.drawer.layers(self.sheet.level, self.sheet.surface)[:-1]:
            root.addLayer(self._hole_key(layer) if layer.name() == tr("Planned holes") else layer)
        for title, colour in (
            (tr("Scanned both ways"), "#ffffff"),
            (tr("Not scanned both ways: UNKNOWN"), UNSEEN_GREY),
        ):
            root.addLayer(self._ground_key(title, colour))
        legend.setLegendFilterByMapEnabled(False)
        styles = QgsLegendStyle.Style
        for style in (styles.Group, styles.Subgroup, styles.SymbolLabel):
            own = legend.style(style)
            own.setFont(page_font(7.5, bold=style != styles.SymbolLabel))
            legend.setStyle(style, own)
        legend.setColumnCount(4)
        legend.setColumnSpace(5.0)
        legend.setSplitLayer(True)
        legend.setResizeToContents(True)
        legend.setSymbolHeight(3.5)
        self.place(legend, EDGE_MM, top, self.page_width - 2 * EDGE_MM, 40)
        legend.adjustBoxSize()

    def _hole_key(self, holes: QgsVectorLayer) -> QgsVectorLayer:
        """The same symbols for the legend in a size of their own, not in that of holes."""
        title = tr("Planned holes, true size")
        known = self.drawer.project.mapLayersByName(title)
        if known:
            return known[0]
        layer = holes.clone()
        layer.setName(title)
        renderer = holes.renderer().clone()
        if isinstance(renderer, QgsCategorizedSymbolRenderer):
            for number, category in enumerate(renderer.categories()):
                renderer.updateCategorySymbol(number, _fixed_size(category.symbol().clone()))
        else:
            renderer.setSymbol(_fixed_size(renderer.symbol().clone()))
        layer.setRenderer(renderer)
        return self.drawer.project.addMapLayer(layer)

    def _ground_key(self, title: str, colour: str) -> QgsVectorLayer:
        """An empty layer that explains a colour of the ground in the legend; white without an outline would not be seen."""
        known = self.drawer.project.mapLayersByName(title)
        if known:
            return known[0]
        layer = QgsVectorLayer("Polygon", title, "memory")
        fill = QgsFillSymbol.createSimple({"color": colour, "outline_color": "#808080", "outline_width": "0.2"})
        layer.setRenderer(QgsSingleSymbolRenderer(fill))
        return self.drawer.project.addMapLayer(layer)


def _fixed_size(symbol):
    symbol.symbolLayer(0).setDataDefinedProperty(QgsSymbolLayer.Property.PropertySize, QgsProperty())
    symbol.setSizeUnit(QgsUnitTypes.RenderUnit.RenderMillimeters)
    symbol.setSize(3.5)
    return symbol


def _style_areas(layer) -> None:
    """As on the main map, but no area goes without its name for want of room."""
    style_scan_areas(layer)
    settings = layer.labeling().settings()
    settings.displayAll = True
    settings.priority = 10
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))


def _room(lying: bool) -> Tuple[float, float]:
    """Width and height of the map, mm."""
    width, height = A4_MM[::-1] if lying else A4_MM
    return width - 2 * EDGE_MM - NUMBERS_MM, height - TOP_MM - NUMBERS_MM - BELOW_MM


def _format(width_m: float, height_m: float) -> Tuple[bool, int]:
    """Does the page lie, and the scale's denominator: the largest round scale at which the extent fits; upright where both do."""
    found: List[Tuple[int, bool]] = []
    for lying in (False, True):
        room = _room(lying)
        needed = 1000.0 * max(width_m / room[0], height_m / room[1])
        found.append((next((scale for scale in SCALES if scale >= needed), math.ceil(needed / 1000) * 1000), lying))
    scale, lying = min(found)
    return lying, scale


def _quoted(text: str) -> str:
    return "'{}'".format(text.replace("'", "''"))
