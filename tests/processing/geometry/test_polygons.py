"""Distances inside polygons, and unions, against shapely and by hand."""

import numpy as np
import pytest
import shapely.geometry as sg
from obstacles import box
from shapely.ops import unary_union

from inslab.processing.geometry import polygons
from inslab.processing.geometry.polygons import distance_inside, edges_of, to_polygon, union


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
    (outer,) = union([[ring]], [0.0])
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
    found = union(polygons, grow)
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
    assert union([[box(0, 0, 1, 1)]], [-0.6]) == []
    assert union([], []) == []


def test_a_ring_is_closed():
    polygon = to_polygon([box(0, 0, 2, 1)[:-1]])
    assert polygon.GetArea() == pytest.approx(2.0)
    assert polygon.GetGeometryRef(0).GetPointCount() == 5


def test_points_level_with_a_corner():
    """A ray through a corner crosses the outline there once or not at all, never twice."""
    diamond = np.array([(-1, 0), (0, -1), (1, 0), (0, 1), (-1, 0)], float)
    points = [(0.0, 0.0), (-0.5, 0.0), (-2.0, 0.0), (-2.0, 1.0), (-2.0, -1.0), (2.0, 0.0)]
    half = np.sqrt(0.5)  # of the square's side; the last but one are nearest to the corner at the left
    expected = [half, half / 2, -1.0, -np.sqrt(2), -np.sqrt(2), -1.0]
    assert distance_inside(points, edges_of([diamond])) == pytest.approx(expected)
    assert distance_inside(points, edges_of([diamond[::-1]])) == pytest.approx(expected)
