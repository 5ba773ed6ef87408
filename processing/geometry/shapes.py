"""Coordinates as the geometries of GDAL (OGR) and as well-known binary, and back.

Which coordinates belong to which kind of geometry: `geometry_of`. GDAL's Python module is imported when it is first needed, so that
reading the code needs nothing but numpy.
"""

from typing import List, Optional, Tuple

import numpy as np

from ..common.packages import import_gdal

KINDS = ("Point", "PointZ", "LineString", "LineStringZ", "Polygon", "MultiPolygonZ")


def geometry_of(kind: str, coordinates):
    """The OGR geometry of one of `KINDS`.

    Coordinates: (2 or 3,) for a point; (n, 2 or 3) for a line; a list of rings (n, 2) for a polygon, the outer one first; a list of
    rings (n, 3), one for each face, for a body of flat faces (MultiPolygonZ).
    """
    _, ogr, _ = import_gdal()
    if kind == "Polygon":
        return polygon_of(coordinates)
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
    _add(point, coordinates)
    return point


def polygon_of(rings):
    """An OGR polygon in plan, the outer ring first; rings that are open are closed."""
    _, ogr, _ = import_gdal()
    polygon = ogr.Geometry(ogr.wkbPolygon)
    for ring in rings:
        line = _line(ogr.wkbLinearRing, [position[:2] for position in ring])
        line.CloseRings()
        polygon.AddGeometry(line)
    return polygon


def line_of(vertices):
    """An OGR line in plan."""
    return geometry_of("LineString", [position[:2] for position in vertices])


def point_of(place):
    """An OGR point in plan."""
    return geometry_of("Point", place[:2])


def _line(kind, coordinates):
    line = import_gdal()[1].Geometry(kind)
    for position in coordinates:
        _add(line, position)
    return line


def _add(geometry, position) -> None:
    # AddPoint would make a plain geometry three-dimensional.
    add = geometry.AddPoint if len(position) == 3 else geometry.AddPoint_2D
    add(*(float(number) for number in position))


def coordinates_of(geometry):
    """What `geometry_of` would make this OGR geometry from, in arrays; None for an empty one."""
    if geometry is None or geometry.IsEmpty():
        return None
    if geometry.GetGeometryName() == "MULTIPOLYGON":
        return [ring for face in _parts(geometry) for ring in coordinates_of(face)]
    if geometry.GetGeometryCount():
        return [np.array(part.GetPoints(), float) for part in _parts(geometry)]
    points = np.array(geometry.GetPoints(), float)
    return points[0] if geometry.GetGeometryName() == "POINT" else points


def rings_of(polygon) -> List[np.ndarray]:
    """Closed rings of an OGR polygon in plan, shape (n, 2) each, the outer one first."""
    return [np.array(ring.GetPoints(), float)[:, :2] for ring in _parts(polygon)]


def _parts(geometry) -> List:
    return [geometry.GetGeometryRef(number) for number in range(geometry.GetGeometryCount())]


def as_lists(coordinates):
    """Coordinates of whatever array type as nested lists of floats, which compare and travel through JSON exactly."""
    if coordinates is None:
        return None
    if isinstance(coordinates, np.ndarray):
        return coordinates.astype(float).tolist()
    return [as_lists(one) if np.ndim(one) else float(one) for one in coordinates]


def to_wkb(kind: str, coordinates) -> bytes:
    """Well-known binary (ISO 13249-3, so that heights survive in every store) of what `geometry_of` makes."""
    return bytes(geometry_of(kind, coordinates).ExportToIsoWkb())


def from_wkb(data: Optional[bytes]):
    """Nested lists of coordinates from well-known binary; None stays None."""
    return None if data is None else as_lists(coordinates_of(import_gdal()[1].CreateGeometryFromWkb(bytes(data))))


def envelope_of(data: bytes) -> Tuple[float, float, float, float]:
    """Least and greatest x, least and greatest y of well-known binary."""
    return import_gdal()[1].CreateGeometryFromWkb(data).GetEnvelope()
