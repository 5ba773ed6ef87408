"""The drill sheet as a layout: one page for each penetration, with plan, section, numbers, cautions and a signature."""

from typing import List, Mapping

from qgis.core import (
    QgsLayout,
    QgsLayoutExporter,
    QgsLayoutItemMap,
    QgsLayoutItemPage,
    QgsPrintLayout,
    QgsProject,
    QgsRectangle,
)
from qgis.PyQt.QtGui import QColor

from ...processing.common import cautions
from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import surface_of
from ...processing.common.vocabulary.verdicts import VERDICTS
from ...processing.common.words import per_cent
from ...processing.store.schema import BRIDGED, COVERAGE, DRILL_SHEET, ITEMS, PENETRATION_VERDICTS
from ..project.layers import table_layer
from ..styles.items import style_bridged, style_items
from ..styles.penetrations import style_verdicts
from .page import LEFT_MM, WIDTH_MM, Page, style_scanned, write_in_place

MAP_MM = 88.0
SCALE = 10.0


def write_drill_sheets(path, survey_path, sheet_path, layer_name: str, rows: List[Mapping], monitor) -> None:
    """Writes one PDF with a page for each row of `steps.drillsheet.drill_sheet_step`; raises `ProcessingError` if it cannot.

    The layers are opened here and belong to no project that a user sees.
    """
    project = QgsProject()
    project.setEllipsoid("NONE")
    layout = QgsPrintLayout(project)
    layout.initializeDefaults()
    layout.setName(tr("Drill sheets"))
    project.layoutManager().addLayout(layout)  # which then dies before the project, as it must
    for number, row in enumerate(rows):
        monitor.step(number / len(rows) * 0.5)
        if number:
            page = QgsLayoutItemPage(layout)
            page.setPageSize("A4", QgsLayoutItemPage.Orientation.Portrait)
            layout.pageCollection().addPage(page)
        else:
            layout.pageCollection().page(0).setPageSize("A4", QgsLayoutItemPage.Orientation.Portrait)
        _Sheet(layout, number, len(rows)).fill(row, _layers(project, survey_path, sheet_path, layer_name, row))
    monitor.step(0.6)
    write_in_place(path, lambda part: _exported(layout, part), tr("The drill sheets"))
    monitor.step(1.0)


def _exported(layout: QgsPrintLayout, path) -> bool:
    result = QgsLayoutExporter(layout).exportToPdf(str(path), QgsLayoutExporter.PdfExportSettings())
    return result == QgsLayoutExporter.ExportResult.Success


def _layers(project, survey_path, sheet_path, layer_name: str, row: Mapping) -> list:
    """The holes, items and unscanned ground of the row's level and surface, styled; made once for each."""
    side = f"{row[DRILL_SHEET.level]} {row[DRILL_SHEET.surface]}"
    known = [layer for layer in project.mapLayers().values() if layer.customProperty("side") == side]
    if known:
        return sorted(known, key=lambda layer: layer.customProperty("order"))
    where = " AND ".join(
        "\"{}\" = '{}'".format(key, row[key].replace("'", "''")) for key in (DRILL_SHEET.level, DRILL_SHEET.surface)
    )
    made = []
    sources = (
        (sheet_path, layer_name, style_verdicts),
        (survey_path, BRIDGED.name, style_bridged),
        (survey_path, ITEMS.name, style_items),
        (survey_path, COVERAGE.name, style_scanned),
    )
    for order, (path, table, style) in enumerate(sources):
        scanned = f' AND "{COVERAGE.line_directions}" >= 2' if table == COVERAGE.name else ""
        layer = table_layer(path, table, f"{where}{scanned}")
        if layer.isValid():
            style(layer)
            layer.setCustomProperty("side", side)
            layer.setCustomProperty("order", order)
            project.addMapLayer(layer)
            project.setCrs(layer.crs())
            made.append(layer)
    return made


class _Sheet(Page):
    """The page of one hole."""

    def __init__(self, layout: QgsLayout, number: int, count: int):
        super().__init__(layout, number)
        self.count = count

    def fill(self, row: Mapping, layers: list) -> None:
        self.text(
            tr("Drill sheet: penetration {penetration_id}", penetration_id=row[DRILL_SHEET.penetration_id]),
            15,
            14,
            bold=True,
        )
        self.text(
            tr(
                "{level}, {seen_from}     sheet {number} of {count}",
                level=row[DRILL_SHEET.level],
                seen_from=_seen_from(row),
                number=self.number + 1,
                count=self.count,
            ),
            24,
            9,
        )
        self.frame(31, 11)
        self.text(VERDICTS[row[DRILL_SHEET.verdict]].on_sheet, 33.5, 12, bold=True, left=LEFT_MM + 3)
        self._map(row, layers, 46)
        self.text(
            "\n".join(_numbers(row)), 46, 8.5, left=LEFT_MM + MAP_MM + 5, width=WIDTH_MM - MAP_MM - 5, height=MAP_MM
        )
        self.text(row[DRILL_SHEET.reason], 138.5, 8.5, height=9)
        self.picture(row[PENETRATION_VERDICTS.section], 147, 76)
        self.text(tr("Nearest items: ") + row[DRILL_SHEET.nearest_items] + ".", 224, 8, height=8)
        self.text("\n".join(cautions.ALL), 233, 7, height=32)
        self._signature(266)

    def _map(self, row, layers, top):
        view = QgsLayoutItemMap(self.layout)
        view.setFrameEnabled(True)
        view.setBackgroundColor(QColor("#d9d9d9"))
        half = MAP_MM / 2000.0 * SCALE
        extent = QgsRectangle(
            row[DRILL_SHEET.x_m] - half,
            row[DRILL_SHEET.y_m] - half,
            row[DRILL_SHEET.x_m] + half,
            row[DRILL_SHEET.y_m] + half,
        )
        view.setExtent(extent)  # before the size: a new map has none in QGIS 3.22
        self.place(view, LEFT_MM, top, MAP_MM, MAP_MM)
        view.setLayers(layers)
        view.setKeepLayerSet(True)
        if layers:
            view.setCrs(layers[0].crs())
        view.setExtent(extent)
        self.text(
            tr(
                "Plan 1:{scale:.0f}, site y upwards; grey: UNKNOWN, not scanned both ways; white dashes: not seen, bridged; "
                "yellow edges: flagged",
                scale=SCALE,
            ),
            top + MAP_MM,
            6.5,
        )

    def _signature(self, top):
        self.frame(top, 20)
        text = tr(
            "Decision of the responsible engineer:   [  ] drill   [  ] drill after exposure or a second "
            "method   [  ] do not drill\n\nName ______________________   Date ______________   Signature "
            "______________________________"
        )
        self.text(text, top + 3, 8.5, left=LEFT_MM + 3, width=WIDTH_MM - 6, height=16)


def _seen_from(row: Mapping) -> str:
    return surface_of(row[DRILL_SHEET.surface]).drilled


def _numbers(row: Mapping) -> list:
    """The numbers of one hole, a line each."""
    lines = [
        tr("Site grid:  x {x_m:.3f} m,  y {y_m:.3f} m", x_m=row[DRILL_SHEET.x_m], y_m=row[DRILL_SHEET.y_m]),
        *(
            tr(
                "Axis {axis}:  {offset:.3f} m, on its {side} side",
                axis=row[f"axis_{n}"],
                offset=row[f"axis_{n}_offset_m"],
                side=row[f"axis_{n}_side"],
            )
            for n in (1, 2)
            if f"axis_{n}" in row
        ),
        tr("Setting out, 1-sigma:  {tolerance:.0f} mm", tolerance=1000 * row[DRILL_SHEET.tolerance_m]),
        "",
        tr("Diameter:  {diameter:.0f} mm", diameter=1000 * row[DRILL_SHEET.diameter_m]),
        tr("Planned depth:  {depth:.0f} mm", depth=1000 * row[DRILL_SHEET.depth_m]),
        *(
            [
                tr(
                    "Inclined:  {tilt_deg:.1f}° towards {azimuth_deg:.1f}° from site y, clockwise",
                    tilt_deg=row[DRILL_SHEET.tilt_deg],
                    azimuth_deg=row[DRILL_SHEET.azimuth_deg],
                )
            ]
            if row[DRILL_SHEET.tilt_deg]
            else []
        ),
        tr("Clear to:  {clear_to:.0f} mm", clear_to=1000 * row[DRILL_SHEET.clear_to_m])
        if row[DRILL_SHEET.clear_to_m] > 0
        else tr("Clear to:  no depth"),
        tr("Slab:  ")
        + (
            tr("about {slab_thickness:.0f} mm", slab_thickness=1000 * row[DRILL_SHEET.slab_thickness_m])
            if row[DRILL_SHEET.slab_thickness_m]
            else tr("thickness not seen")
        ),
        "",
    ]
    if row[DRILL_SHEET.margin_m] is not None:
        lines += [
            tr("Governing item:  {governing_item}", governing_item=row[DRILL_SHEET.governing_item]),
            tr(
                "Margin beyond keep-out:  {margin:.0f} ± {sigma_margin:.0f} mm (1-sigma)",
                margin=1000 * row[DRILL_SHEET.margin_m],
                sigma_margin=1000 * row[DRILL_SHEET.sigma_margin_m],
            ),
        ]
    return [
        *lines,
        tr(
            "Probability of touching a known item:  {touch_probability}",
            touch_probability=per_cent(row[DRILL_SHEET.touch_probability]),
        ),
    ]
