"""Coordinates to geometries and back, against shapely's reader and writer of well-known binary."""

import numpy as np
import pytest
import shapely.geometry as sg
import shapely.wkb

from inslab.processing.geometry import shapes

SQUARE = [
    [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0), (0.0, 0.0)],
    [(0.5, 0.5), (1.0, 0.5), (1.0, 1.0), (0.5, 0.5)],
]
FACES = [[(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 0.0, 1.0), (0.0, 0.0, 0.0)]] * 2
GEOMETRIES = {
    "Point": ((1.0, 2.0), sg.Point(1, 2)),
    "PointZ": ((1.0, 2.0, -0.3), sg.Point(1, 2, -0.3)),
    "LineString": ([(0.0, 0.0), (1.0, 2.0)], sg.LineString([(0, 0), (1, 2)])),
    "LineStringZ": ([(0.0, 0.0, -0.1), (1.0, 2.0, -0.2)], sg.LineString([(0, 0, -0.1), (1, 2, -0.2)])),
    "Polygon": (SQUARE, sg.Polygon(SQUARE[0], SQUARE[1:])),
    "MultiPolygonZ": (FACES, sg.MultiPolygon([sg.Polygon(face) for face in FACES])),
}


@pytest.mark.parametrize("kind", shapes.KINDS)
def test_binary_as_shapely_reads_and_writes_it(kind):
    coordinates, shape = GEOMETRIES[kind]
    found = shapely.wkb.loads(shapes.to_wkb(kind, coordinates))
    assert found.equals_exact(shape, 0.0)
    assert found.has_z == kind.endswith("Z")
    assert shapes.from_wkb(shapely.wkb.dumps(shape)) == shapes.as_lists(coordinates)


def test_arrays_come_back():
    line = np.array([(0.0, 0.0, -0.1), (1.0, 2.0, -0.2)])
    assert shapes.coordinates_of(shapes.geometry_of("LineStringZ", line)).tolist() == line.tolist()
    assert shapes.coordinates_of(shapes.polygon_of([])) is None
    assert shapes.from_wkb(None) is None


def test_plans_leave_heights_out_and_rings_are_closed():
    assert shapes.line_of([(0.0, 0.0, 5.0), (3.0, 4.0, 9.0)]).ExportToWkt() == "LINESTRING (0 0,3 4)"
    assert shapes.point_of((1.0, 2.0, 3.0)).ExportToWkt() == "POINT (1 2)"
    polygon = shapes.polygon_of([[(x, y, 7.0) for x, y in SQUARE[0][:-1]]])
    assert [ring.tolist() for ring in shapes.rings_of(polygon)] == [[list(place) for place in SQUARE[0]]]


def test_the_box_around_binary():
    assert shapes.envelope_of(shapes.to_wkb("LineStringZ", [(3.0, -1.0, 0.5), (1.0, 2.0, 0.7)])) == (
        1.0,
        3.0,
        -1.0,
        2.0,
    )
