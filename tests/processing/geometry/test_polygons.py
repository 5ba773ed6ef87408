"""Distances inside polygons, unions, and polygons out of any collection, against shapely and by hand."""

import numpy as np
import pytest
import shapely.geometry as sg
from obstacles import box
from shapely.ops import unary_union

from inslab.processing.geometry import polygons
from inslab.processing.geometry.polygons import (
    contains,
    distance_inside,
    edges_of,
    grown_union,
    length_inside,
    polygons_in,
    shrunk,
    union,
    union_in_turn,
)
from inslab.processing.geometry.shapes import polygon_of, rings_of

ogr = pytest.importorskip("osgeo.ogr")


def as_shapely(rings):
    return sg.Polygon(rings[0], rings[1:])


def test_edges_are_those_of_each_ring():
    edges = edges_of([box(0, 0, 2, 1), box(5, 5, 6, 6)])
    assert edges.shape == (8, 2, 2)
    assert edges[0].tolist() == [[0, 0], [2, 0]]
    assert edges[3].tolist() == [[0, 1], [0, 0]]
    assert edges[4].tolist() == [[5, 5], [6, 5]]
    assert edges_of([]).shape == (0, 2, 2)


def test_third_coordinates_are_left_out():
    ring = np.column_stack([box(0, 0, 2, 1), np.full(5, 7.0)])
    assert edges_of([ring]).tolist() == edges_of([box(0, 0, 2, 1)]).tolist()
    (outer,) = grown_union([[ring]], [0.0])
    assert outer.shape[1] == 2


def test_by_hand_in_a_rectangle_with_a_hole():
    edges = edges_of([box(0, 0, 4, 3), box(1, 1, 2, 2)])
    points = [(0.5, 1.5), (3.0, 1.5), (1.5, 1.25), (-3.0, 7.0), (4.0, 5.0), (2.0, 0.5), (0.0, 1.0)]
    expected = [0.5, 1.0, -0.25, -5.0, -2.0, 0.5, 0.0]
    assert distance_inside(points, edges) == pytest.approx(expected)


def test_no_ground_is_infinitely_far_off():
    assert distance_inside([(0, 0), (1, 1)], edges_of([])).tolist() == [-np.inf, -np.inf]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("at_a_time", [7, 100, 2_000_000])
def test_a_crooked_polygon_as_in_shapely(monkeypatch, seed, at_a_time):
    """Any number of points at a time gives the same."""
    monkeypatch.setattr(polygons, "AT_A_TIME", at_a_time)
    random = np.random.default_rng(seed)
    angle = np.sort(random.uniform(0, 2 * np.pi, 11))
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * random.uniform(1.0, 3.0, 11)[:, None]
    rings = [np.vstack([ring, ring[:1]]), np.vstack([ring * 0.3, ring[:1] * 0.3])]
    shape = as_shapely(rings)
    assert shape.is_valid
    points = random.uniform(-3, 3, (60, 2))
    away = [shape.boundary.distance(sg.Point(p)) * (1 if shape.contains(sg.Point(p)) else -1) for p in points]
    assert distance_inside(points, edges_of(rings)) == pytest.approx(away, abs=1e-12)


def test_an_edge_without_length_changes_nothing():
    ring = box(0, 0, 4, 3)
    edges = edges_of([np.insert(ring, 1, ring[1], axis=0)])
    assert distance_inside([(1.0, 1.0), (5.0, 1.0)], edges) == pytest.approx([1.0, -1.0])


def test_a_union_of_grown_and_shrunk_polygons_as_in_shapely():
    polygons = [[box(0, 0, 2, 2)], [box(1, 1, 4, 4), box(2, 2, 3, 3)], [box(10, 0, 11, 1)]]
    grow = [0.0, -0.1, 0.2]
    expected = unary_union([as_shapely(rings).buffer(by) for rings, by in zip(polygons, grow)])
    found = grown_union(polygons, grow)
    assert sorted(len(part.interiors) for part in expected.geoms) == [0, 1]
    assert len(found) == 3  # two outlines and one hole
    area = sum(abs(sg.Polygon(ring).area) * (1 if n != hole_of(found) else -1) for n, ring in enumerate(found))
    assert area == pytest.approx(expected.area, rel=2e-3)  # arcs of GDAL and shapely have steps of their own
    points = np.random.default_rng(2).uniform((-1, -1), (12, 5), (400, 2))
    inside = distance_inside(points, edges_of(found))
    off = np.array([expected.boundary.distance(sg.Point(p)) for p in points])
    sure = off > 0.01
    assert [bool(v) for v in (inside > 0)[sure]] == [expected.contains(sg.Point(p)) for p in points[sure]]


def hole_of(rings):
    """Number of the smallest ring, which is the hole here."""
    return int(np.argmin([abs(sg.Polygon(ring).area) for ring in rings]))


def test_what_shrinks_to_nothing_is_gone():
    assert grown_union([[box(0, 0, 1, 1)]], [-0.6]) == []
    assert grown_union([], []) == []


def test_points_level_with_a_corner():
    """A ray through a corner crosses the outline there once or not at all, never twice."""
    diamond = np.array([(-1, 0), (0, -1), (1, 0), (0, 1), (-1, 0)], float)
    points = [(0.0, 0.0), (-0.5, 0.0), (-2.0, 0.0), (-2.0, 1.0), (-2.0, -1.0), (2.0, 0.0)]
    half = np.sqrt(0.5)  # of the square's side; the last but one are nearest to the corner at the left
    expected = [half, half / 2, -1.0, -np.sqrt(2), -np.sqrt(2), -1.0]
    assert distance_inside(points, edges_of([diamond])) == pytest.approx(expected)
    assert distance_inside(points, edges_of([diamond[::-1]])) == pytest.approx(expected)


SQUARE = "POLYGON ((0 0, 2 0, 2 2, 0 2, 0 0))"


@pytest.mark.parametrize(
    ("wkt", "areas"),
    [
        (SQUARE, [4.0]),
        ("POLYGON EMPTY", []),
        ("POINT (1 1)", []),
        ("MULTIPOLYGON (((0 0, 1 0, 1 1, 0 0)), ((5 5, 7 5, 7 7, 5 7, 5 5)))", [0.5, 4.0]),
        (
            f"GEOMETRYCOLLECTION (POINT (1 1), {SQUARE}, GEOMETRYCOLLECTION (LINESTRING (0 0, 1 1), {SQUARE}))",
            [4.0, 4.0],
        ),
    ],
)
def test_polygons_of_any_geometry(wkt, areas):
    found = polygons_in(ogr.CreateGeometryFromWkt(wkt))
    assert [one.GetArea() for one in found] == pytest.approx(areas)


def test_polygons_of_nothing():
    assert polygons_in(None) == []


@pytest.mark.parametrize("unite", [union, union_in_turn])
@pytest.mark.parametrize("seed", range(3))
def test_unions_as_in_shapely(unite, seed):
    random = np.random.default_rng(seed)
    rings = [box(x, y, x + dx, y + dy) for x, y, dx, dy in random.uniform(0.5, 3.0, (12, 4))]
    expected = unary_union([sg.Polygon(ring) for ring in rings])
    found = unite(polygon_of([ring]) for ring in rings)
    shape = unary_union([as_shapely(rings_of(polygon)) for polygon in polygons_in(found)])
    assert found.Area() == pytest.approx(expected.area, rel=1e-12)
    assert shape.symmetric_difference(expected).area == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("unite", [union, union_in_turn])
def test_the_union_of_nothing_is_empty(unite):
    assert unite([]).IsEmpty()


def test_what_lies_inside_by_hand():
    ground = [box(0, 0, 4, 4), box(1, 1, 3, 3)]
    assert length_inside([(-1.0, 2.0, 9.0), (6.0, 2.0, 9.0)], polygon_of(ground)) == pytest.approx(2.0)
    assert shrunk([box(0, 0, 4, 4)], 0.5).Area() == pytest.approx(9.0)
    assert [contains(ground, place) for place in ((0.5, 2.0), (2.0, 2.0), (1.0, 2.0), (5.0, 2.0))] == [
        True,
        False,
        True,
        False,
    ]
