"""One table of a GeoPackage: its columns and rows, and how coordinates become geometries and come back."""

import math
from dataclasses import dataclass, field
from typing import Callable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.packages import import_gdal
from .table_schema import Table

GEOMETRIES = ("Point", "PointZ", "LineString", "LineStringZ", "Polygon", "MultiPolygonZ")


@dataclass(frozen=True)
class Layer:
    """One table of a GeoPackage.

    Attributes
    ----------
    geometry : str or None
        One of `GEOMETRIES`, None for a table without geometry.
    fields : mapping of str to type
        Column name to ``str``, ``int``, ``float`` or ``bool``, in order.
    rows : sequence of (coordinates, values)
        Coordinates: None; (2 or 3,) for a point; (n, 2 or 3) for a line; a list of rings (n, 2) for a polygon, the outer one
        first; a list of rings (n, 3), one for each face, for a body of flat faces (MultiPolygonZ). Values: by column name;
        a missing one, None and NaN become NULL.
    """

    name: str
    geometry: Optional[str]
    fields: Mapping[str, type]
    rows: Sequence[Tuple[object, Mapping]] = field(repr=False)
    description: str = ""


def layer_of(
    table: Table, rows: Sequence[Tuple[object, Mapping]], fields: Optional[Mapping[str, type]] = None
) -> Layer:
    """Rows as a layer with the name, geometry and texts of `table`, and with its fields unless others are given."""
    return Layer(table.name, table.geometry, table.columns if fields is None else fields, rows, table.full_description)


class RowsOf(Sequence):
    """The rows of many things, each made by `row_of` whenever it is asked for: all at once would fill the memory of a big floor."""

    def __init__(self, things: Sequence, row_of: Callable[..., Tuple[object, Mapping]]):
        self._things, self._row_of = things, row_of

    def __len__(self) -> int:
        return len(self._things)

    def __getitem__(self, number):
        return self._row_of(self._things[number])


def add_row(target, layer: Layer, coordinates, values: Mapping) -> None:
    _, ogr, _ = import_gdal()
    unknown = set(values) - set(layer.fields)
    if unknown:
        raise KeyError(f"layer {layer.name} has no field {sorted(unknown)}")
    feature = ogr.Feature(target.GetLayerDefn())
    # A column's number is that of its making.
    for number, (name, kind) in enumerate(layer.fields.items()):
        value = values.get(name)
        if value is not None and not (kind is float and math.isnan(value)):
            feature.SetField(number, kind(value) if kind is not bool else int(value))
    if coordinates is not None:
        feature.SetGeometry(geometry_of(layer.geometry, coordinates))
    if target.CreateFeature(feature) != 0:
        raise RuntimeError(f"a row of layer {layer.name} was refused")


def geometry_of(kind: str, coordinates):
    _, ogr, _ = import_gdal()
    if kind == "Polygon":
        polygon = ogr.Geometry(ogr.wkbPolygon)
        for ring in coordinates:
            polygon.AddGeometry(_line(ogr.wkbLinearRing, ring))
        return polygon
    if kind == "MultiPolygonZ":
        body = ogr.Geometry(ogr.wkbMultiPolygon25D)
        for ring in coordinates:
            face = ogr.Geometry(ogr.wkbPolygon25D)
            face.AddGeometry(_line(ogr.wkbLinearRing, ring))
            body.AddGeometry(face)
        return body
    if kind.startswith("LineString"):
        return _line(ogr.wkbLineString25D if kind.endswith("Z") else ogr.wkbLineString, coordinates)
    point = ogr.Geometry(ogr.wkbPoint25D if kind.endswith("Z") else ogr.wkbPoint)
    _add_point(point, coordinates)
    return point


def _line(kind, coordinates):
    _, ogr, _ = import_gdal()
    line = ogr.Geometry(kind)
    for position in coordinates:
        _add_point(line, position)
    return line


def _add_point(geometry, position) -> None:
    # AddPoint would make a plain geometry three-dimensional.
    add = geometry.AddPoint if len(position) == 3 else geometry.AddPoint_2D
    add(*(float(number) for number in position))


def coordinates_of(geometry):
    if geometry is None or geometry.IsEmpty():
        return None
    if geometry.GetGeometryName() == "MULTIPOLYGON":
        return [ring for face in _parts(geometry) for ring in coordinates_of(face)]
    if geometry.GetGeometryCount():
        return [np.array(part.GetPoints(), float) for part in _parts(geometry)]
    points = np.array(geometry.GetPoints(), float)
    return points[0] if geometry.GetGeometryName() == "POINT" else points


def _parts(geometry) -> List:
    return [geometry.GetGeometryRef(number) for number in range(geometry.GetGeometryCount())]
