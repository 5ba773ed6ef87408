"""The same floor plan as an old paper print put on a flatbed scanner: turned, tinted, speckled, without georeference."""

import csv

import numpy as np

from . import building
from .drawings import floor_plan

PIXELS_A_METRE = 56.0
SIZE_PIXELS = (1700, 1160)
TURN_DEG = 1.3
# Paper stretches more across its grain.
STRETCH = np.array([1.0, 1.0012])
PICK_SD_PIXELS = 0.5
SEED = 771
_FINE = 3
_WIDTH_M = {"axes": 0.03, "columns": 0.05, "walls": 0.06, "openings": 0.03, "slab_edge": 0.05}
_FILLED = ("columns",)
# Letters as strokes on a box 2 wide and 4 high: only what the axes need.
_GLYPHS = {
    "1": [[(0, 3), (1, 4), (1, 0)], [(0, 0), (2, 0)]],
    "2": [[(0, 3), (0.5, 4), (1.5, 4), (2, 3), (2, 2.5), (0, 0), (2, 0)]],
    "3": [[(0, 4), (2, 4), (0.9, 2.4), (1.6, 2.3), (2, 1.5), (2, 0.7), (1.4, 0), (0.5, 0), (0, 0.6)]],
    "4": [[(1.5, 0), (1.5, 4), (0, 1.2), (2, 1.2)]],
    "A": [[(0, 0), (1, 4), (2, 0)], [(0.4, 1.5), (1.6, 1.5)]],
    "B": [[(0, 0), (0, 4), (1.4, 4), (1.9, 3.4), (1.9, 2.7), (1.4, 2.1), (0, 2.1)],
          [(1.4, 2.1), (2, 1.5), (2, 0.6), (1.4, 0), (0, 0)]],
    "C": [[(2, 3.2), (1.4, 4), (0.6, 4), (0, 3.2), (0, 0.8), (0.6, 0), (1.4, 0), (2, 0.8)]],
}  # fmt: skip


def pixel_transform():
    """Matrix (2, 2) and shift (2,) that take site metres to column and row of the picture."""
    turn = np.radians(TURN_DEG)
    # Rows count downwards.
    rotation = np.array([[np.cos(turn), np.sin(turn)], [np.sin(turn), -np.cos(turn)]])
    matrix = PIXELS_A_METRE * rotation * STRETCH
    middle = [np.mean([min(axis.values()), max(axis.values())]) for axis in (building.AXES_X, building.AXES_Y)]
    shift = np.array(SIZE_PIXELS) / 2.0 + [18.0, -14.0] - matrix @ (np.array(middle) - [0.6, 0.4])
    return matrix, shift


def write_png(path):
    """Draw the plan and write it as PNG. Raises RuntimeError where GDAL cannot."""
    from osgeo import gdal

    picture = _paper(_ink())
    memory = gdal.GetDriverByName("MEM").Create("", *SIZE_PIXELS, 3, gdal.GDT_Byte)
    for band in range(3):
        memory.GetRasterBand(band + 1).WriteArray(picture[:, :, band])
    if gdal.GetDriverByName("PNG").CreateCopy(str(path), memory) is None:
        raise RuntimeError(f"{path} cannot be written as PNG.")


def write_control(path):
    """Pairs of picture and site positions at the outer axis crossings and two inner ones, picked by hand."""
    matrix, shift = pixel_transform()
    random = np.random.default_rng(SEED + 1)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("point_id", "pixel_column", "pixel_row", "site_x_m", "site_y_m"))
        for name in ("1A", "4A", "4C", "1C", "2B", "3B"):
            site = np.array([building.AXES_X[name[0]], building.AXES_Y[name[1]]])
            column, row = matrix @ site + shift + random.normal(0.0, PICK_SD_PIXELS, 2)
            writer.writerow((name, f"{column:.1f}", f"{row:.1f}", f"{site[0]:.3f}", f"{site[1]:.3f}"))


def _ink():
    """How much of each pixel is ink, 0 to 1, shape (row, column)."""
    from osgeo import gdal, ogr, osr

    strokes, labels = floor_plan()
    lines = [(stroke.points_m, _WIDTH_M[stroke.layer], stroke.layer in _FILLED) for stroke in strokes]
    for label in labels:
        if label.layer == "axis_text":
            for glyph in _GLYPHS[label.text]:
                points = (np.asarray(glyph) - [1.0, 2.0]) * label.height_m / 4.0 + label.point_m
                lines.append((points, 0.04, False))
    drawing = ogr.GetDriverByName("Memory").CreateDataSource("")
    # Named only so that GDAL does not warn of a missing one.
    site = osr.SpatialReference('LOCAL_CS["site",UNIT["metre",1]]')
    layer = drawing.CreateLayer("ink", site)
    for points, width, filled in lines:
        shape = ogr.Geometry(ogr.wkbLineString)
        for x, y in points:
            shape.AddPoint_2D(float(x), float(y))
        shape = shape.Buffer(width / 2.0)
        if filled:
            outline = ogr.Geometry(ogr.wkbLinearRing)
            for x, y in points:
                outline.AddPoint_2D(float(x), float(y))
            area = ogr.Geometry(ogr.wkbPolygon)
            area.AddGeometry(outline)
            shape = shape.Union(area)
        feature = ogr.Feature(layer.GetLayerDefn())
        feature.SetGeometry(shape)
        layer.CreateFeature(feature)
    # A finer raster, then the mean: smooth edges.
    matrix, shift = pixel_transform()
    back = np.linalg.inv(matrix)
    origin = -back @ shift
    raster = gdal.GetDriverByName("MEM").Create("", SIZE_PIXELS[0] * _FINE, SIZE_PIXELS[1] * _FINE, 1, gdal.GDT_Byte)
    fine = back / _FINE
    raster.SetProjection(site.ExportToWkt())
    raster.SetGeoTransform([origin[0], fine[0, 0], fine[0, 1], origin[1], fine[1, 0], fine[1, 1]])
    gdal.RasterizeLayer(raster, [1], layer, burn_values=[1])
    burnt = raster.GetRasterBand(1).ReadAsArray()
    return burnt.reshape(SIZE_PIXELS[1], _FINE, SIZE_PIXELS[0], _FINE).mean(axis=(1, 3))


def _paper(ink):
    """RGB picture, uint8, shape (row, column, 3)."""
    from scipy.ndimage import gaussian_filter

    random = np.random.default_rng(SEED)
    stains = gaussian_filter(random.normal(size=ink.shape), 90.0)
    stains /= np.abs(stains).max()
    wear = gaussian_filter(random.normal(size=ink.shape), 1.2)
    strength = np.clip(0.8 + 0.8 * wear, 0.25, 1.0)
    ink = gaussian_filter(ink, 0.6) * strength
    rows = np.arange(ink.shape[0])
    fold = 10.0 * np.exp(-(((rows - 0.52 * ink.shape[0]) / 3.0) ** 2))
    light = 9.0 * stains - fold[:, None] + 4.0 * gaussian_filter(random.normal(size=ink.shape), 0.7)
    paper = np.array([236.0, 228.0, 206.0]) + light[:, :, None]
    picture = paper * (1.0 - ink[:, :, None]) + np.array([52.0, 50.0, 66.0]) * ink[:, :, None]
    specks = random.random(ink.shape) < 0.0004
    picture[specks] -= 70.0
    # Grey steps of 4 keep the file small.
    return (np.clip(picture / 4.0, 0.0, 63.0).round() * 4.0).astype(np.uint8)
