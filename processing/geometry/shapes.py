"""Geometry of the record's rows: plain nested lists in memory, well-known binary in the stores, OGR for polygons.

GDAL's Python module is imported when it is first needed, so that reading the code needs nothing but numpy.
"""

from typing import Iterable, List, Optional, Sequence, Tuple

import numpy as np

from ..common.packages import import_gdal

# Directions in which a circle is approximated when polygons grow or shrink, for each quarter.
QUARTER = 8


def as_lists(coordinates):
    """Coordinates of whatever array type as nested lists of floats, which compare and travel through JSON exactly."""
    if coordinates is None:
        return None
    if isinstance(coordinates, np.ndarray):
        return coordinates.astype(float).tolist()
    return [as_lists(one) if np.ndim(one) else float(one) for one in coordinates]


def to_wkb(kind: str, coordinates) -> bytes:
    """Well-known binary (ISO 13249-3, so that heights survive in both stores) of one geometry.

    `kind`: Point, PointZ, LineString, LineStringZ or Polygon; coordinates: (2 or 3,), (n, 2 or 3), or a list of rings (n, 2).
    """
    return bytes(_to_ogr(kind, coordinates).ExportToIsoWkb())


def from_wkb(data: Optional[bytes]):
    """Nested lists from well-known binary; None stays None."""
    if data is None:
        return None
    geometry = import_gdal()[1].CreateGeometryFromWkb(bytes(data))
    if geometry.GetGeometryName() == "POLYGON":
        return rings_of(geometry)
    points = [list(point) for point in geometry.GetPoints()]
    return points[0] if geometry.GetGeometryName() == "POINT" else points


def envelope_of(data: bytes) -> Tuple[float, float, float, float]:
    """Least and greatest x, least and greatest y of well-known binary."""
    return import_gdal()[1].CreateGeometryFromWkb(data).GetEnvelope()


def _to_ogr(kind: str, coordinates):
    _, ogr, _ = import_gdal()
    if kind == "Polygon":
        return polygon_of(coordinates)
    if kind.startswith("LineString"):
        return _line(ogr.wkbLineString25D if kind.endswith("Z") else ogr.wkbLineString, coordinates)
    point = ogr.Geometry(ogr.wkbPoint25D if kind.endswith("Z") else ogr.wkbPoint)
    _add(point, coordinates)
    return point


def _line(kind, coordinates):
    line = import_gdal()[1].Geometry(kind)
    for position in coordinates:
        _add(line, position)
    return line


def _add(geometry, position) -> None:
    (geometry.AddPoint if len(position) == 3 else geometry.AddPoint_2D)(*(float(number) for number in position))


def polygon_of(rings):
    """An OGR polygon of closed rings, outer one first."""
    _, ogr, _ = import_gdal()
    polygon = ogr.Geometry(ogr.wkbPolygon)
    for ring in rings:
        polygon.AddGeometry(_line(ogr.wkbLinearRing, ring))
    return polygon


def line_of(vertices):
    """An OGR line in plan."""
    return _line(import_gdal()[1].wkbLineString, [position[:2] for position in vertices])


def point_of(place):
    """An OGR point in plan."""
    return _to_ogr("Point", list(place)[:2])


def rings_of(polygon) -> List[List[List[float]]]:
    """Closed rings (x, y) of an OGR polygon."""
    rings = [polygon.GetGeometryRef(number) for number in range(polygon.GetGeometryCount())]
    return [[[x, y] for x, y, *_ in ring.GetPoints()] for ring in rings]


def polygons_in(geometry) -> List:
    """The single polygons of an OGR geometry, whatever collection it is; copies that live on their own."""
    if geometry is None or geometry.IsEmpty():
        return []
    if geometry.GetGeometryName() == "POLYGON":
        return [geometry.Clone()]
    found: List = []
    for number in range(geometry.GetGeometryCount()):
        part = geometry.GetGeometryRef(number)
        if part.GetGeometryName() in ("POLYGON", "MULTIPOLYGON", "GEOMETRYCOLLECTION"):
            found += polygons_in(part)
    return found


def union(geometries: Iterable):
    """Union of OGR geometries; an empty polygon of none."""
    _, ogr, _ = import_gdal()
    out = None
    for one in geometries:
        out = one.Clone() if out is None else out.Union(one)
    return ogr.Geometry(ogr.wkbPolygon) if out is None else out


def shrunk(rings, distance_m: float):
    """The OGR polygon of `rings` with its edges moved inwards."""
    return polygon_of(rings).Buffer(-distance_m, QUARTER)


def length_inside(vertices, polygon) -> float:
    """Length of a line in plan that lies in an OGR polygon, metres."""
    return float(line_of(vertices).Intersection(polygon).Length())


def contains(rings, place: Sequence[float]) -> bool:
    """Does a place (x, y) lie in the polygon of `rings`?"""
    return bool(polygon_of(rings).Intersects(point_of(place)))


def boxes_meet(one, other, reach_m: float = 0.0) -> bool:
    """Do the rectangles around two sets of vertices (n, 2 or 3) come nearer than `reach_m`?"""
    a, b = np.asarray(one, float)[:, :2], np.asarray(other, float)[:, :2]
    return bool(np.all(a.min(axis=0) - reach_m <= b.max(axis=0)) and np.all(b.min(axis=0) - reach_m <= a.max(axis=0)))
