"""Plans as layouts: one page with a map at a round scale, site-grid coordinates, legend, scale bar and arrows."""

import math
from pathlib import Path
from typing import List, Optional, Tuple

import numpy as np
from qgis.core import (
    QgsLayoutItemLegend,
    QgsLayoutItemMap,
    QgsLayoutItemMapGrid,
    QgsLayoutItemPage,
    QgsLayoutItemScaleBar,
    QgsLegendStyle,
    QgsPrintLayout,
    QgsRectangle,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QColor

from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import is_elevation
from ...processing.reports.content import MapSheet
from ...processing.site.crs import is_tied, to_national
from .map_layers import MapLayers
from .page import Page, page_font, set_font

SCALES = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000)
STEPS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
A4_MM = (210.0, 297.0)
EDGE_MM, TOP_MM, NUMBERS_MM = 15.0, 27.0, 9.0  # margin; where the map begins; room for coordinates beside it
BELOW_MM = 68.0  # for caption, scale bar, legend and foot
TICKS_MM = 22.0  # grid lines are no closer than this
UNSEEN_GREY = "#d9d9d9"
ARROW = Path(__file__).parent / "arrow.svg"


class MapDrawer(MapLayers):
    """Makes the layouts of plans."""

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

    def national_north_deg(self, sheet: MapSheet) -> Optional[float]:
        """Direction of the national grid's north on the plan, degrees clockwise from site y; None where there is none."""
        if is_elevation(sheet.surface) or not is_tied(self.crs_wkt):
            return None
        middle = sheet.extent_m.mean(axis=0)
        (east, north), (ahead_east, ahead_north) = to_national(self.crs_wkt, [middle, middle + [0.0, 1.0]])[0]
        return -math.degrees(math.atan2(ahead_east - east, ahead_north - north))


class _Plan(Page):
    """The page of one plan."""

    def __init__(self, layout, drawer: MapDrawer, sheet: MapSheet, lying: bool, scale: int):
        super().__init__(layout)
        self.drawer, self.sheet, self.scale = drawer, sheet, scale
        self.page_width = max(A4_MM) if lying else min(A4_MM)
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
        grid = QgsLayoutItemMapGrid(tr("site grid"), view)
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
        upwards = tr("up") if is_elevation(self.sheet.surface) else tr("site y")
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
            root.addLayer(layer)
        for title, colour in (
            (tr("Scanned both ways"), "#ffffff"),
            (tr("Not scanned both ways: UNKNOWN"), UNSEEN_GREY),
        ):
            root.addLayer(self.drawer.ground_key(title, colour))
        legend.setLegendFilterByMapEnabled(False)
        styles = QgsLegendStyle.Style
        for style in (styles.Group, styles.Subgroup, styles.SymbolLabel):
            own = legend.style(style)
            set_font(own, 7.5, bold=style != styles.SymbolLabel)
            legend.setStyle(style, own)
        legend.setColumnCount(4)
        legend.setColumnSpace(3.0)
        legend.setSplitLayer(True)
        legend.setResizeToContents(True)
        legend.setSymbolHeight(3.5)
        self.place(legend, EDGE_MM, top, self.page_width - 2 * EDGE_MM, 40)
        legend.adjustBoxSize()


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
