"""Polygons and distances in plan, with numpy; unions and buffers with GDAL's geometry (which QGIS always brings)."""

from functools import reduce
from typing import Iterable, List, Sequence

import numpy as np

from ..common.packages import import_gdal
from .shapes import line_of, point_of, polygon_of, rings_of

Rings = List[np.ndarray]
# Directions in which a circle is approximated when polygons grow or shrink, for each quarter.
QUARTER = 8
# Points times edges that are worked at a time, so that memory stays below about 200 MB.
AT_A_TIME = 2_000_000


def edges_of(rings: Sequence[np.ndarray]) -> np.ndarray:
    """Edges of closed rings, shape (edge, 2, 2): start and end, x and y."""
    parts = [np.stack([ring[:-1, :2], ring[1:, :2]], axis=1) for ring in rings]
    return np.concatenate(parts) if parts else np.zeros((0, 2, 2))


def distance_inside(points: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """How far inside the polygons with these edges points lie (negative outside), metres, shape (n,).

    Rings of holes count by the even-odd rule, so that outer rings must not overlap (OGC 06-103r4, simple features).
    Minus infinity where there are no edges.
    """
    points = np.asarray(points, float)
    result = np.full(len(points), -np.inf)
    if not len(edges):
        return result
    start, end = edges[:, 0], edges[:, 1]
    way = end - start
    length = np.maximum(np.sum(way**2, axis=1), 1e-18)
    step = max(AT_A_TIME // len(edges), 1)
    for first in range(0, len(points), step):
        x, y = (column[:, None] for column in points[first : first + step].T)
        part = np.clip(((x - start[:, 0]) * way[:, 0] + (y - start[:, 1]) * way[:, 1]) / length, 0.0, 1.0)
        off = np.hypot(x - start[:, 0] - part * way[:, 0], y - start[:, 1] - part * way[:, 1]).min(axis=1)
        straddles = (start[:, 1] > y) != (end[:, 1] > y)
        rise = np.where(way[:, 1] == 0, 1.0, way[:, 1])
        crossed = straddles & (x < start[:, 0] + (y - start[:, 1]) * way[:, 0] / rise)
        result[first : first + step] = np.where(np.sum(crossed, axis=1) % 2 == 1, off, -off)
    return result


def polygons_in(geometry) -> List:
    """The single polygons of an OGR geometry, whatever collection it is; copies that live on their own."""
    if geometry is None or geometry.IsEmpty():
        return []
    if geometry.GetGeometryName() == "POLYGON":
        return [geometry.Clone()]
    parts = [geometry.GetGeometryRef(number) for number in range(geometry.GetGeometryCount())]
    return [polygon for part in parts for polygon in polygons_in(part)]


def union(geometries: Iterable):
    """Union of the polygons in OGR geometries; an empty polygon of none."""
    _, ogr, _ = import_gdal()
    together = ogr.Geometry(ogr.wkbMultiPolygon)
    for geometry in geometries:
        for polygon in polygons_in(geometry):
            together.AddGeometry(polygon)
    return together.UnionCascaded() if together.GetGeometryCount() else ogr.Geometry(ogr.wkbPolygon)


def union_in_turn(geometries: Iterable):
    """Union of OGR geometries, added one by one; an empty polygon of none.

    The same ground as `union` gives, and slower; only the vertex at which outlines start differs. What a survey holds is made with
    this one, so that it stays the same to the last bit.
    """
    _, ogr, _ = import_gdal()
    return reduce(lambda ground, one: ground.Union(one), geometries, ogr.Geometry(ogr.wkbPolygon))


def grown_union(polygons: Sequence[Rings], grow_m: Sequence[float]) -> Rings:
    """Rings of the union of polygons, each grown by its own distance (negative: shrunk), metres."""
    shapes = [polygon_of(rings) for rings in polygons]
    merged = union(shape.Buffer(grow) if grow else shape for shape, grow in zip(shapes, grow_m))
    return [ring for polygon in polygons_in(merged) for ring in rings_of(polygon)]


def shrunk(rings: Rings, distance_m: float):
    """The OGR polygon of `rings` with its edges moved inwards."""
    return polygon_of(rings).Buffer(-distance_m, QUARTER)


def length_inside(vertices, polygon) -> float:
    """Length of a line in plan that lies in an OGR polygon, metres."""
    return float(line_of(vertices).Intersection(polygon).Length())


def contains(rings: Rings, place: Sequence[float]) -> bool:
    """Does a place (x, y) lie in the polygon of `rings`, or on its edge?"""
    return bool(polygon_of(rings).Intersects(point_of(place)))
