"""A drawing as DXF: 3-D polylines by kind and depth band, depths as text, the unknown hatched, the cautions written on it.

GDAL, which QGIS always brings, writes the file; its header is then corrected, because it says inches and gives every layer the
same colour. So there is one way of writing, the same in every installation.
"""

import math
import os
import textwrap
from pathlib import Path
from typing import Dict, Iterable, List

import numpy as np

from ..common import cautions
from ..common.errors import ProcessingError
from ..common.gdal_failures import without_gdal_exceptions
from ..common.language import tr, trn
from ..common.packages import import_gdal
from ..common.vocabulary.kinds import kind_of
from ..common.vocabulary.values import word
from ..common.vocabulary.verdicts import VERDICTS, verdict_words
from ..common.words import mm
from ..geometry.polygons import polygons_in
from ..geometry.polylines import middle_of, stations_m
from ..geometry.shapes import line_of, rings_of
from ..reports.plane_content import Drawing, GridChange
from ..store.layers import software_version
from ..store.schema import COVERAGE, ITEMS, PENETRATION_VERDICTS, SCAN_AREAS
from . import layer_names as names

METRES = 6  # value of $INSUNITS in the published description of the format
HATCH_M = 0.25  # between lines, along x: narrower than the gap that makes ground unscanned
CIRCLE = np.linspace(0.0, 2.0 * np.pi, 49)
NOT_CHECKED = "NOTCHECKED"


def write_dxf(path, drawing: Drawing, grid: GridChange, band_m: float = 0.05, text_m: float = 0.03) -> int:
    """Writes the drawing and returns the number of items in it; `text_m` is the height of depths and names.

    An existing file is replaced at the end. Raises `ProcessingError`.
    """
    names.check_band(band_m)
    path = Path(path)
    part = path.with_name(f".{path.name}.{os.getpid()}.part.dxf")
    sheet = _Sheet(grid)
    _draw_ground(sheet, drawing, text_m)
    for line, row in drawing.placed:
        _draw_item(sheet, line, row, band_m, text_m)
    for place, row in drawing.holes:
        _draw_hole(sheet, np.asarray(place, float), row, text_m)
    _write_notes(sheet, drawing, grid, text_m)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(_mended(sheet.content(), sheet.colours))
        part.replace(path)
    except OSError as error:
        raise ProcessingError(
            tr("{file} cannot be written ({reason}); choose another place for it.", file=path, reason=error.strerror)
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return len(drawing.placed)


class _Sheet:
    """Entities on their way into the file: layer, geometry, style."""

    def __init__(self, grid: GridChange):
        self.grid = grid
        self.entities: List[tuple] = []
        self.colours: Dict[str, int] = {}

    def line(self, layer: str, points_m, pen: names.Pen) -> None:
        """A polyline of points (n, 2 or 3), site grid."""
        dashes = ""
        if pen.dashes_mm:  # in the ground, so that they look alike in every program
            dashes = ',p:"{}"'.format(" ".join(f"{value / 1000:g}g" for value in pen.dashes_mm))
        style = f"PEN(c:{pen.colour},w:{pen.width_mm:g}mm{dashes})"
        self._add(layer, "line", self.grid(points_m), style, pen)

    def text(self, layer: str, text: str, place_m, height_m: float, pen: names.Pen, turn_rad=0.0, anchor=5) -> None:
        """Text at a point; `turn_rad` counts from site x; the anchor is 5 in the middle, 7 at the upper left."""
        ahead = self.grid([place_m, np.add(place_m, [*(np.cos(turn_rad), np.sin(turn_rad)), 0.0][: len(place_m)])])
        turn = math.degrees(math.atan2(*(ahead[1, :2] - ahead[0, :2])[::-1]))
        if turn > 90.0 or turn <= -90.0:  # never upside down
            turn += 180.0 if turn < 0 else -180.0
        words = text.replace('"', "'")
        style = f'LABEL(f:"Arial",t:"{words}",s:{height_m:g}g,a:{turn:.3f},c:{pen.colour},p:{anchor})'
        self._add(layer, "point", ahead[:1], style, pen)

    def _add(self, layer, kind, points, style, pen) -> None:
        self.colours[layer] = pen.index
        self.entities.append((layer, kind, points, style))

    def content(self) -> bytes:
        """All entities as GDAL writes them: in memory, because on a full disk it leaves some out without a word."""
        gdal, ogr, _ = import_gdal()
        name = f"/vsimem/inslab-{id(self)}.dxf"
        try:
            with without_gdal_exceptions():
                dataset = ogr.GetDriverByName("DXF").CreateDataSource(name)
                target = dataset.CreateLayer("entities")
                for layer, kind, points, style in self.entities:
                    shape = ogr.Geometry(ogr.wkbLineString25D if kind == "line" else ogr.wkbPoint25D)
                    for point in points:
                        shape.AddPoint(*(float(number) for number in point))
                    feature = ogr.Feature(target.GetLayerDefn())
                    feature.SetGeometry(shape)
                    feature.SetField("Layer", layer)
                    feature.SetStyleString(style)
                    if target.CreateFeature(feature) != 0:
                        raise ProcessingError(tr("An entity of layer {layer} cannot be written.", layer=layer))
                target = dataset = None
                file = gdal.VSIFOpenL(name, "rb")
                content = gdal.VSIFReadL(1, gdal.VSIStatL(name).size, file)
                gdal.VSIFCloseL(file)
        finally:
            gdal.Unlink(name)
        return bytes(content)


def _draw_item(sheet: _Sheet, line: np.ndarray, row, band_m: float, text_m: float) -> None:
    kind = kind_of(row[ITEMS.kind])
    pen, code = names.kind_pen(kind), kind.code
    band = names.depth_band(row[ITEMS.depth_min_m], band_m)
    sheet.line(names.layer_name(code, names.GRAPHICS, band), line, pen)
    place, turn = _middle(line)
    sheet.text(names.layer_name(code, names.TEXT, band), depth_words(row), place, text_m, pen, turn)


def depth_words(row) -> str:
    """Depth to the top with its 1-sigma, millimetres: '48 ±4', '60-85 ±5'."""
    if row[ITEMS.depth_min_m] is None or row[ITEMS.depth_max_m] is None:
        return tr("depth ?")
    low, high = (round(1000 * row[name]) for name in (ITEMS.depth_min_m, ITEMS.depth_max_m))
    depth = f"{low}" if low == high else f"{low}-{high}"
    return depth if row[ITEMS.sigma_depth_m] is None else f"{depth} ±{1000 * row[ITEMS.sigma_depth_m]:.0f}"


def _middle(line: np.ndarray):
    """The point half-way along a polyline, and the direction there, radians from x."""
    stations = stations_m(line)
    step = int(np.clip(np.searchsorted(stations, stations[-1] / 2) - 1, 0, len(line) - 2))
    ahead = line[step + 1] - line[step]
    return middle_of(line), math.atan2(ahead[1], ahead[0])


def _draw_ground(sheet: _Sheet, drawing: Drawing, text_m: float) -> None:
    for rings, row in drawing.areas:
        if rings is None:
            continue
        pen = names.OTHER_PENS[names.AREA]
        sheet.line(names.layer_name(names.AREA, names.GRAPHICS), rings[0], pen)
        corner = rings[0][np.argmax(rings[0] @ [-1.0, 1.0])]  # upper left
        name = tr("Scan area {area}", area=row[SCAN_AREAS.area_id])
        sheet.text(
            names.layer_name(names.AREA, names.TEXT), name, corner + [0.0, 2 * text_m], 1.5 * text_m, pen, anchor=1
        )
    for rings, row in drawing.coverage:
        if rings is not None:
            _draw_scanned(sheet, rings, row, text_m)
    unknown, pen = drawing.unknown_ground(), names.OTHER_PENS[names.UNSEEN]
    for ring in (ring for polygon in polygons_in(unknown) for ring in rings_of(polygon)):
        sheet.line(names.layer_name(names.UNSEEN, names.GRAPHICS), ring, pen)
    for stroke in _strokes(unknown, drawing.extent_m()):
        sheet.line(names.layer_name(names.UNSEEN, names.HATCHING), stroke, pen)


def _draw_scanned(sheet: _Sheet, rings, row, text_m: float) -> None:
    """Outline of what counts as scanned, and in words how deep."""
    both_ways = (row[COVERAGE.line_directions] or 0) >= 2
    element = names.SEEN_BOTH_WAYS if both_ways else names.SEEN_ONE_WAY
    pen, depth = names.OTHER_PENS[element], row[COVERAGE.depth_m]
    further = "NODEPTH" if depth is None else f"TO{1000 * depth:04.0f}"
    for ring in rings:
        sheet.line(names.layer_name(element, names.GRAPHICS, further), ring, pen)
    known = tr("to an unknown depth") if depth is None else tr("to {mm} mm", mm=f"{1000 * depth:.0f}")
    words = tr("scanned {depth}", depth=known)
    if not both_ways:
        words = tr("scanned one way only {depth}: UNKNOWN", depth=known)
    corner = rings[0][np.argmin(rings[0] @ [1.0, 1.0])]  # lower left, below the outline: inside stand depths and holes
    sheet.text(names.layer_name(element, names.TEXT, further), words, corner - [0.0, text_m], text_m, pen, anchor=7)


def _draw_hole(sheet: _Sheet, place: np.ndarray, row, text_m: float) -> None:
    code, pen = hole_code(row), names.OTHER_PENS[names.HOLE]
    radius = (row.get(PENETRATION_VERDICTS.diameter_m) or 0.0) / 2
    layer = names.layer_name(names.HOLE, names.GRAPHICS, code, names.NEW)
    sheet.line(layer, place[:2] + radius * np.column_stack([np.cos(CIRCLE), np.sin(CIRCLE)]), pen)
    for cross in ((1.0, 0.0), (0.0, 1.0)):
        arm = np.multiply(cross, radius + text_m / 2)
        sheet.line(layer, [place[:2] - arm, place[:2] + arm], pen)
    words = f"{row.get(PENETRATION_VERDICTS.penetration_id, '')} {verdict_words(row.get(PENETRATION_VERDICTS.verdict))}".strip()
    beside = place[:2] + [radius + text_m, 0.0]
    sheet.text(names.layer_name(names.HOLE, names.TEXT, code, names.NEW), words, beside, text_m, pen, anchor=4)


def hole_code(row) -> str:
    """The verdict as the layer's own field: CLEAR, TOOCLOSE, HITS, UNKNOWN or NOTCHECKED."""
    verdict = VERDICTS.get(row.get(PENETRATION_VERDICTS.verdict))
    return verdict.code if verdict else NOT_CHECKED


def notes(drawing: Drawing, grid: GridChange) -> List[str]:
    """What whoever opens the drawing must read, in sentences."""
    sigmas = [row[ITEMS.sigma_xy_m] for _, row in drawing.placed if row[ITEMS.sigma_xy_m] is not None]
    unplaced = len(drawing.items) - len(drawing.placed)
    sentences = [
        tr("CONCRETE SCAN {name}, level {level}, {surface}", name=drawing.name, level=drawing.level, surface=word(drawing.surface)),
        tr(
            "Coordinates: {grid}, metres. Z is minus the depth to the top of the item, from the scanned surface. Numbers beside "
            "items: that depth and its 1-sigma, millimetres.",
            grid=grid.name,
        ),
    ]  # fmt: skip
    if sigmas:
        sentences.append(tr("Position in plan: 1-sigma {low} to {high} mm.", low=mm(min(sigmas)), high=mm(max(sigmas))))
    sentences.append(
        tr(
            "Hatched: not scanned both ways, UNKNOWN. Below the depth written on scanned ground, everything is "
            "UNKNOWN too."
        )
    )
    if drawing.left_out:
        sentences.append(
            trn(
                "NOT ALL ITEMS ARE DRAWN: {count} of another kind or depth was found on this level and left out.",
                "NOT ALL ITEMS ARE DRAWN: {count} of other kinds or depths were found on this level and left out.",
                drawing.left_out,
            )
        )
    if unplaced:
        sentences.append(
            trn(
                "{count} item lies in a scan area without a position and is not drawn.",
                "{count} items lie in scan areas without a position and are not drawn.",
                unplaced,
            )
        )
    return [*sentences, *cautions.ALL, f"Inslab {software_version()}"]


def _write_notes(sheet: _Sheet, drawing: Drawing, grid: GridChange, text_m: float) -> None:
    (left, low), (right, _) = drawing.extent_m()
    # Letters are some 0.7 of their height wide, lines 1.7 apart.
    columns = max(40, int((right - left) / (0.75 * text_m)))
    lines = [line for sentence in notes(drawing, grid) for line in textwrap.wrap(sentence, columns)]
    layer, pen = names.layer_name(names.NOTE, names.TEXT), names.OTHER_PENS[names.NOTE]
    for number, line in enumerate(lines):
        sheet.text(layer, line, (left, low - 2 * text_m - 1.7 * text_m * number), text_m, pen, anchor=7)


def _strokes(shape, extent_m: np.ndarray) -> Iterable[np.ndarray]:
    """Lines at 45 degrees across a polygon: they look the same in every program, which fill patterns do not."""
    (left, low), (right, high) = extent_m
    width, height = right - left, high - low
    for offset in np.arange(HATCH_M - height, width, HATCH_M):
        line = line_of([(left + offset, low), (left + offset + height, high)])
        yield from _lines(line.Intersection(shape))


def _lines(shape) -> Iterable[np.ndarray]:
    if shape.GetGeometryName() == "LINESTRING" and shape.GetPointCount() > 1:
        yield np.array(shape.GetPoints())[:, :2]
    for number in range(shape.GetGeometryCount()):
        yield from _lines(shape.GetGeometryRef(number))


def _mended(data: bytes, colours: Dict[str, int]) -> bytes:
    """The file with metres as its unit, the layers in their colours and the cautions as a comment at its head.

    Plain blanks for the unbreakable ones that GDAL puts into texts, which some programs show as they are written.

    A DXF file is pairs of lines: a group code and its value.
    """
    lines = data.decode("latin-1").splitlines()
    pairs = [[lines[n], lines[n + 1]] for n in range(0, len(lines) - 1, 2)]
    known_unit = in_layer = None
    layer = ""
    for before, pair in zip([["", ""], *pairs], pairs):
        code = pair[0].strip()
        if before[1].strip() == "$INSUNITS":
            pair[1], known_unit = f"{METRES:6d}", True
        if code == "0":
            in_layer = pair[1].strip() == "LAYER"
        elif in_layer and code == "2":
            layer = pair[1].strip()
        elif in_layer and code == "62" and layer in colours:
            pair[1] = str(colours[layer])
        elif code in ("1", "3"):
            pair[1] = pair[1].replace("\\~", " ")
    if not known_unit:
        raise ProcessingError(tr("This installation's GDAL writes DXF files that cannot be given a unit."))
    remark = [["999", _plain(text)] for text in cautions.ALL]
    return "".join(f"{code}\n{value}\n" for code, value in (*remark, *pairs)).encode("latin-1")


def _plain(text: str) -> str:
    text = text.translate(str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss"}))
    return text.encode("ascii", "replace").decode("ascii")
