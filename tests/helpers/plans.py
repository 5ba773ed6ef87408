"""Drawings for tests: the sample's floor plan in another unit and place, as DXF, picture and PDF."""

import csv
import re

import numpy as np

TURN_DEG, ORIGIN = 31.0, (12500.0, -7300.0)  # of the drawing's own coordinates, millimetres


def to_drawing(site_m):
    """Site metres to the drawing's millimetres, written out apart from the product."""
    x, y = 1000.0 * np.asarray(site_m, float).T
    cos, sin = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
    return np.column_stack([cos * x - sin * y + ORIGIN[0], sin * x + cos * y + ORIGIN[1]])


def write_dxf(path, unit=4):
    """The floor plan as DXF in millimetres, turned and shifted; `unit` is what its header says ($INSUNITS)."""
    from osgeo import ogr

    from inslab.sample_project.drawings import floor_plan

    strokes, labels = floor_plan()
    source = ogr.GetDriverByName("DXF").CreateDataSource(str(path))
    layer = source.CreateLayer("entities")
    for stroke in strokes:
        line = ogr.Geometry(ogr.wkbLineString)
        for x, y in to_drawing(stroke.points_m):
            line.AddPoint_2D(float(x), float(y))
        _add(ogr, layer, stroke.layer, line)
    for label in labels:
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(*(float(part) for part in to_drawing([label.point_m])[0]))
        _add(ogr, layer, label.layer, point, f'LABEL(f:"Arial",t:"{label.text}",s:{1000 * label.height_m}g)')
    layer = source = None
    text = path.read_text(encoding="latin-1")
    path.write_text(
        re.sub(r"(\$INSUNITS\s*\n\s*70\s*\n)\s*\d+", rf"\g<1>     {unit}", text), encoding="latin-1", newline=""
    )


def _add(ogr, layer, cad_layer, geometry, style=None):
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetField("Layer", cad_layer)
    feature.SetGeometry(geometry)
    if style:
        feature.SetStyleString(style)
    assert layer.CreateFeature(feature) == 0


def axis_crossings():
    """Site position of some crossings of the plan's axes, by name."""
    from inslab.sample_project import building

    return {name: (building.AXES_X[name[0]], building.AXES_Y[name[1]]) for name in ("1A", "4A", "4C", "1C", "2B")}


def write_pairs(path, errors=0.0):
    """A table of pairs for the DXF: crossings of axes, with `errors` in drawing units."""
    crossings = axis_crossings()
    places = to_drawing(list(crossings.values())) + errors
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("point_id", "drawing_x", "drawing_y", "site_x_m", "site_y_m"))
        for (name, site), drawing in zip(crossings.items(), places):
            writer.writerow((name, *(f"{part:.3f}" for part in drawing), *site))


def read_rows(path):
    """Rows of a table of pairs as the algorithm hands them over."""
    with path.open(newline="", encoding="utf-8") as file:
        return [(row, None) for row in csv.DictReader(file)]
