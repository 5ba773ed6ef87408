"""Polygons and distances in plan, with numpy; unions and buffers with GDAL's geometry (which QGIS always brings)."""

from typing import List, Sequence

import numpy as np

from ..common.packages import import_gdal

Rings = List[np.ndarray]
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


def union(polygons: Sequence[Rings], grow_m: Sequence[float]) -> Rings:
    """Rings of the union of polygons, each grown by its own distance (negative: shrunk), metres."""
    _, ogr, _ = import_gdal()
    together = ogr.Geometry(ogr.wkbMultiPolygon)
    for rings, grow in zip(polygons, grow_m):
        shape = to_polygon(rings)
        shape = shape.Buffer(grow) if grow else shape
        for part in _simple_polygons(shape):
            together.AddGeometry(part)
    merged = together.UnionCascaded() if together.GetGeometryCount() else together
    return [
        np.array(part.GetGeometryRef(i).GetPoints())[:, :2]
        for part in _simple_polygons(merged)
        for i in range(part.GetGeometryCount())
    ]


def to_polygon(rings: Rings):
    """An OGR polygon from its rings."""
    _, ogr, _ = import_gdal()
    polygon = ogr.Geometry(ogr.wkbPolygon)
    for ring in rings:
        line = ogr.Geometry(ogr.wkbLinearRing)
        for x, y in np.asarray(ring, float)[:, :2]:
            line.AddPoint_2D(float(x), float(y))
        line.CloseRings()
        polygon.AddGeometry(line)
    return polygon


def _simple_polygons(geometry) -> list:
    if geometry is None or geometry.IsEmpty():
        return []
    if geometry.GetGeometryName() == "POLYGON":
        return [geometry.Clone()]
    return [part for i in range(geometry.GetGeometryCount()) for part in _simple_polygons(geometry.GetGeometryRef(i))]
