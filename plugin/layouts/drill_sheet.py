"""The drill sheet as a layout: one page for each penetration, with plan, section, numbers, cautions and a signature."""

from pathlib import Path
from typing import List, Mapping

from qgis.core import (
    QgsFillSymbol,
    QgsLayout,
    QgsLayoutExporter,
    QgsLayoutItemLabel,
    QgsLayoutItemMap,
    QgsLayoutItemPage,
    QgsLayoutItemPicture,
    QgsLayoutItemShape,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsPrintLayout,
    QgsProject,
    QgsRectangle,
    QgsSingleSymbolRenderer,
    QgsUnitTypes,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QColor, QFont

from ...processing import cautions
from ...processing.errors import ProcessingError
from ..layers import table_source
from ..styles.items import style_items
from ..styles.penetrations import style_verdicts

FONT = "DejaVu Sans"  # on every system that QGIS installs on Debian; others fall back to their own
LEFT_MM, WIDTH_MM = 15.0, 180.0
MAP_MM = 88.0
SCALE = 10.0
VERDICT_WORDS = {
    "clear": "Clear of what is known",
    "too_close": "TOO CLOSE - do not drill as planned",
    "hits": "HITS AN ITEM - do not drill as planned",
    "unknown": "UNKNOWN - never to be taken for clear",
}


def write_drill_sheets(path, survey_path, sheet_path, layer_name: str, rows: List[Mapping], monitor) -> None:
    """Writes one PDF with a page for each row of `planning_moves.sheet_rows`; raises `ProcessingError` if it cannot.

    The layers are opened here and belong to no project that a user sees.
    """
    project = QgsProject()
    project.setEllipsoid("NONE")
    layout = QgsPrintLayout(project)
    layout.initializeDefaults()
    layout.setName("Drill sheets")
    project.layoutManager().addLayout(layout)  # which then dies before the project, as it must
    for number, row in enumerate(rows):
        monitor.step(number / len(rows) * 0.5)
        if number:
            page = QgsLayoutItemPage(layout)
            page.setPageSize("A4", QgsLayoutItemPage.Orientation.Portrait)
            layout.pageCollection().addPage(page)
        else:
            layout.pageCollection().page(0).setPageSize("A4", QgsLayoutItemPage.Orientation.Portrait)
        _Page(layout, number, len(rows)).fill(row, _layers(project, survey_path, sheet_path, layer_name, row))
    monitor.step(0.6)
    part = Path(path).with_name(f".{Path(path).name}.part.pdf")
    part.parent.mkdir(parents=True, exist_ok=True)
    try:
        result = QgsLayoutExporter(layout).exportToPdf(str(part), QgsLayoutExporter.PdfExportSettings())
        if result != QgsLayoutExporter.ExportResult.Success:
            raise ProcessingError(f"The drill sheets cannot be written to {path}; choose another place for them.")
        part.replace(path)
    except OSError as error:
        raise ProcessingError(
            f"{path} cannot be replaced ({error.strerror}); close it, then run this again."
        ) from error
    finally:
        part.unlink(missing_ok=True)
    monitor.step(1.0)


def _layers(project, survey_path, sheet_path, layer_name: str, row: Mapping) -> list:
    """The holes, items and unscanned ground of the row's level and surface, styled; made once for each."""
    side = "{} {}".format(row["level"], row["surface"])
    known = [layer for layer in project.mapLayers().values() if layer.customProperty("side") == side]
    if known:
        return sorted(known, key=lambda layer: layer.customProperty("order"))
    where = " AND ".join("\"{}\" = '{}'".format(key, row[key].replace("'", "''")) for key in ("level", "surface"))
    made = []
    sources = (
        (sheet_path, layer_name, style_verdicts),
        (survey_path, "items", style_items),
        (survey_path, "coverage", _style_scanned),
    )
    for order, (path, table, style) in enumerate(sources):
        scanned = ' AND "line_directions" >= 2' if table == "coverage" else ""
        layer = QgsVectorLayer(f"{table_source(path, table)}|subset={where}{scanned}", table, "ogr")
        if layer.isValid():
            style(layer)
            layer.setCustomProperty("side", side)
            layer.setCustomProperty("order", order)
            project.addMapLayer(layer)
            project.setCrs(layer.crs())
            made.append(layer)
    return made


def _style_scanned(layer) -> None:
    """White on the grey of the map. (The hatching of the main map comes out of place in a PDF.)"""
    layer.setRenderer(QgsSingleSymbolRenderer(QgsFillSymbol.createSimple({"color": "#ffffff", "outline_style": "no"})))


class _Page:
    """One page of the layout."""

    def __init__(self, layout: QgsLayout, number: int, count: int):
        self.layout, self.number, self.count = layout, number, count

    def fill(self, row: Mapping, layers: list) -> None:
        self._text(f"Drill sheet: penetration {row['penetration_id']}", 15, 14, bold=True)
        self._text(f"{row['level']}, {_seen_from(row)}     sheet {self.number + 1} of {self.count}", 24, 9)
        self._frame(31, 11)
        self._text(VERDICT_WORDS[row["verdict"]], 33.5, 12, bold=True, left=LEFT_MM + 3)
        self._map(row, layers, 46)
        self._text(
            "\n".join(_numbers(row)), 46, 8.5, left=LEFT_MM + MAP_MM + 5, width=WIDTH_MM - MAP_MM - 5, height=MAP_MM
        )
        self._text(row["reason"], 138.5, 8.5, height=9)
        self._picture(row["section"], 147, 76)
        self._text("Nearest items: " + row["nearest_items"] + ".", 224, 8, height=8)
        self._text("\n".join(cautions.ALL), 233, 7, height=32)
        self._signature(266)

    def _place(self, item, left, top, width, height):
        self.layout.addLayoutItem(item)
        millimetres = QgsUnitTypes.LayoutUnit.LayoutMillimeters
        item.attemptMove(QgsLayoutPoint(left, top, millimetres), True, False, self.number)
        item.attemptResize(QgsLayoutSize(width, height, millimetres))
        return item

    def _text(self, text, top, size, bold=False, left=LEFT_MM, width=WIDTH_MM, height=8.0):
        label = QgsLayoutItemLabel(self.layout)
        label.setText(text)
        font = QFont(FONT)
        font.setPointSizeF(size)
        font.setBold(bold)
        if hasattr(label, "setTextFormat"):
            text_format = label.textFormat()
            text_format.setFont(font)
            text_format.setSize(size)
            label.setTextFormat(text_format)
        else:  # QGIS 3.22
            label.setFont(font)
        return self._place(label, left, top, width, height)

    def _frame(self, top, height):
        shape = QgsLayoutItemShape(self.layout)
        shape.setShapeType(QgsLayoutItemShape.Shape.Rectangle)
        return self._place(shape, LEFT_MM, top, WIDTH_MM, height)

    def _map(self, row, layers, top):
        view = QgsLayoutItemMap(self.layout)
        view.setFrameEnabled(True)
        view.setBackgroundColor(QColor("#d9d9d9"))
        half = MAP_MM / 2000.0 * SCALE
        extent = QgsRectangle(row["x_m"] - half, row["y_m"] - half, row["x_m"] + half, row["y_m"] + half)
        view.setExtent(extent)  # before the size: a new map has none in QGIS 3.22
        self._place(view, LEFT_MM, top, MAP_MM, MAP_MM)
        view.setLayers(layers)
        view.setKeepLayerSet(True)
        if layers:
            view.setCrs(layers[0].crs())
        view.setExtent(extent)
        self._text(f"Plan 1:{SCALE:.0f}, site y upwards; grey: not scanned both ways, UNKNOWN", top + MAP_MM, 6.5)

    def _picture(self, path, top, height):
        picture = QgsLayoutItemPicture(self.layout)
        picture.setPicturePath(str(path))
        self._place(picture, LEFT_MM, top, WIDTH_MM, height)

    def _signature(self, top):
        self._frame(top, 20)
        text = (
            "Decision of the responsible engineer:   "
            "[  ] drill   [  ] drill after exposure or a second method   [  ] do not drill\n\n"
            "Name ______________________   Date ______________   Signature ______________________________"
        )
        self._text(text, top + 3, 8.5, left=LEFT_MM + 3, width=WIDTH_MM - 6, height=16)


def _seen_from(row: Mapping) -> str:
    return {"top": "drilled from the top", "soffit": "drilled from below", "wall": "drilled into the wall"}[
        row["surface"]
    ]


def _numbers(row: Mapping) -> list:
    """The numbers of one hole, a line each."""
    lines = [
        f"Site grid:  x {row['x_m']:.3f} m,  y {row['y_m']:.3f} m",
        *(
            f"Axis {row[f'axis_{n}']}:  {row[f'axis_{n}_offset_m']:.3f} m, on its {row[f'axis_{n}_side']} side"
            for n in (1, 2)
            if f"axis_{n}" in row
        ),
        f"Setting out, 1-sigma:  {1000 * row['tolerance_m']:.0f} mm",
        "",
        f"Diameter:  {1000 * row['diameter_m']:.0f} mm",
        f"Planned depth:  {1000 * row['depth_m']:.0f} mm",
        *(
            [f"Inclined:  {row['tilt_deg']:.1f}° towards {row['azimuth_deg']:.1f}° from site y, clockwise"]
            if row["tilt_deg"]
            else []
        ),
        f"Clear to:  {1000 * row['clear_to_m']:.0f} mm" if row["clear_to_m"] > 0 else "Clear to:  not at any depth",
        "Slab:  "
        + (f"about {1000 * row['slab_thickness_m']:.0f} mm" if row["slab_thickness_m"] else "thickness not seen"),
        "",
    ]
    if row["margin_m"] is not None:
        lines += [
            f"Governing item:  {row['governing_item']}",
            f"Margin beyond keep-out:  {1000 * row['margin_m']:.0f} ± {1000 * row['sigma_margin_m']:.0f} mm (1-sigma)",
        ]
    return [*lines, f"Probability of touching a known item:  {100 * row['touch_probability']:.2g} per cent"]
