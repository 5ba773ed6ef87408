"""The floor plan as a designer's drawing: linework by CAD layer, and its DXF file.

The drawing is in site metres, so it lies under the survey without further fitting.
"""

import re
from dataclasses import dataclass
from typing import List, Tuple

import numpy as np

from . import building

CIRCLE_M = 0.45
OVERHANG_M = 1.6


@dataclass(frozen=True)
class Stroke:
    """A polyline on a CAD layer; a closed one repeats its first point."""

    layer: str
    points_m: np.ndarray


@dataclass(frozen=True)
class Label:
    """A text on a CAD layer, centred on a point."""

    layer: str
    text: str
    point_m: Tuple[float, float]
    height_m: float


def floor_plan() -> Tuple[List[Stroke], List[Label]]:
    """Linework and texts of the plan of level 2."""
    strokes, labels = [], []
    west, east = min(building.AXES_X.values()), max(building.AXES_X.values())
    south, north = min(building.AXES_Y.values()), max(building.AXES_Y.values())
    for name, x in building.AXES_X.items():
        strokes.append(Stroke("axes", np.array([(x, south - OVERHANG_M), (x, north + OVERHANG_M)])))
        _axis_mark(strokes, labels, name, (x, south - OVERHANG_M - CIRCLE_M))
    for name, y in building.AXES_Y.items():
        strokes.append(Stroke("axes", np.array([(west - OVERHANG_M, y), (east + OVERHANG_M, y)])))
        _axis_mark(strokes, labels, name, (west - OVERHANG_M - CIRCLE_M, y))
    half = building.COLUMN_M / 2.0
    for x in building.AXES_X.values():
        for y in building.AXES_Y.values():
            strokes.append(_rectangle("columns", x - half, y - half, x + half, y + half))
    strokes += [_rectangle("walls", *wall) for wall in building.WALLS]
    for opening in building.OPENINGS:
        strokes.append(_rectangle("openings", *opening))
        strokes.append(Stroke("openings", np.array([opening[:2], opening[2:]])))
    edge = building.SLAB_EDGE_M
    strokes.append(_rectangle("slab_edge", west - edge, south - edge, east + edge, north + edge))
    labels.append(Label("text", building.JOB, ((west + east) / 2.0, north + OVERHANG_M + 0.6), 0.4))
    return strokes, labels


def write_dxf(path):
    """Write the plan as DXF (release 2000, metres) with OGR's writer. Raises RuntimeError where OGR cannot write it."""
    from osgeo import ogr

    strokes, labels = floor_plan()
    source = ogr.GetDriverByName("DXF").CreateDataSource(str(path))
    if source is None:
        raise RuntimeError(f"{path} cannot be written as DXF.")
    # The writer puts each feature on the CAD layer named in the field Layer.
    layer = source.CreateLayer("entities")
    for stroke in strokes:
        line = ogr.Geometry(ogr.wkbLineString)
        for x, y in stroke.points_m:
            line.AddPoint_2D(float(x), float(y))
        _add_feature(ogr, layer, stroke.layer, line)
    for label in labels:
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(*label.point_m)
        style = f'LABEL(f:"Arial",t:"{label.text}",s:{label.height_m}g,p:5)'
        _add_feature(ogr, layer, label.layer, point, style)
    # In this order: the layer must not outlive the data set, whose end writes the file.
    layer = None
    source = None
    text = path.read_text(encoding="latin-1")
    # The writer's template says inches (1); 6 is metres.
    text, count = re.subn(r"(\$INSUNITS\s*\n\s*70\s*\n)\s*\d+", r"\g<1>     6", text)
    if count != 1:
        raise RuntimeError(f"{path}: the unit of the drawing could not be set.")
    path.write_text(text, encoding="latin-1", newline="")


def _add_feature(ogr, layer, cad_layer, geometry, style=None):
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetField("Layer", cad_layer)
    feature.SetGeometry(geometry)
    if style:
        feature.SetStyleString(style)
    if layer.CreateFeature(feature) != 0:
        raise RuntimeError(f"A feature of the CAD layer {cad_layer} could not be written.")


def _rectangle(layer, west, south, east, north):
    return Stroke(layer, np.array([(west, south), (east, south), (east, north), (west, north), (west, south)]))


def _axis_mark(strokes, labels, name, centre):
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    strokes.append(Stroke("axes", np.asarray(centre) + CIRCLE_M * np.c_[np.cos(turn), np.sin(turn)]))
    labels.append(Label("axis_text", name, centre, 0.45))
