"""What is known: polygons against shapely, and each reason for 'unknown'."""

import numpy as np
import pytest
import shapely.geometry as sg
import shapely.ops
from obstacles import RULES, box, ground

from inslab.processing.floor.unknown_ground import KnownGround, ScannedPiece
from inslab.processing.geometry.polygons import distance_inside, edges_of, grown_union
from inslab.processing.penetrations.model import Confidence, Penetrations
from inslab.processing.penetrations.touched_unknown import ONE_WAY, OUTSIDE, TOO_DEEP, edge_distance_m, find_unknowns

SURE = Confidence()


def kinds(holes, known, confidence=SURE):
    """Kind of reason of each hole, None where all is known."""
    reasons = find_unknowns(holes, known, RULES["unknown"], confidence).reasons
    return [reasons[i][0] if i in reasons else None for i in range(len(holes))]


def test_distance_inside_as_in_shapely():
    random = np.random.default_rng(2)
    angles = np.sort(random.uniform(0, 2 * np.pi, 14))
    ring = np.column_stack([np.cos(angles), np.sin(angles)]) * random.uniform(0.5, 1.0, (14, 1))
    ring = np.vstack([ring, ring[:1]])
    hole = box(-0.1, -0.1, 0.1, 0.15)
    shape = sg.Polygon(ring, [hole])
    points = random.uniform(-1.1, 1.1, (2000, 2))
    signs = np.array([1 if shape.contains(sg.Point(*p)) else -1 for p in points])
    expected = signs * [shape.boundary.distance(sg.Point(*p)) for p in points]
    np.testing.assert_allclose(distance_inside(points, edges_of([ring, hole])), expected, atol=1e-9)


def test_union_as_in_shapely():
    boxes = [box(0, 0, 1, 1), box(0.9, 0.2, 2, 0.8), box(3, 0, 4, 1)]
    rings = grown_union([[one] for one in boxes], [0.0, 0.0, -0.1])
    expected = shapely.ops.unary_union([sg.Polygon(boxes[0]), sg.Polygon(boxes[1]), sg.Polygon(boxes[2]).buffer(-0.1)])
    assert sum(sg.Polygon(ring).area for ring in rings) == pytest.approx(expected.area)


def test_half_outside_is_unknown():
    known = ground((0, 0, 1, 1))
    holes = Penetrations.upright([[0.5, 0.5], [0.0, 0.5], [0.03, 0.5], [-1, 0.5]], 0.05, 0.1, 0.003)
    assert kinds(holes, known) == [None, OUTSIDE, OUTSIDE, OUTSIDE]


def test_the_edge_counts_as_an_object_just_outside():
    """Half of the largest unknown object, the keep-out and 1.645 sigma of setting out."""
    expected = 0.025 + 0.015 + 1.6449 * 0.004
    assert edge_distance_m(RULES["unknown"], 0.004, SURE) == pytest.approx(expected, abs=1e-5)
    known = ground((0, 0, 1, 1))
    holes = Penetrations.upright([[0.01 + expected + d, 0.5] for d in (-0.001, 0.001)], 0.02, 0.1, 0.004)
    assert kinds(holes, known) == [OUTSIDE, None]


def test_an_area_that_is_badly_placed_covers_less():
    holes = Penetrations.upright([[0.07, 0.5]], 0.02, 0.1, 0.003)
    assert kinds(holes, ground((0, 0, 1, 1), sigma_xy_m=0.001)) == [None]
    assert kinds(holes, ground((0, 0, 1, 1), sigma_xy_m=0.02)) == [OUTSIDE]


def test_one_direction_is_not_enough():
    holes = Penetrations.upright([[0.5, 0.5]], 0.02, 0.1, 0.003)
    assert kinds(holes, ground((0, 0, 1, 1), directions=1)) == [ONE_WAY]


def test_below_the_depth_that_was_seen():
    holes = Penetrations.upright([[0.5, 0.5]] * 2, 0.02, [0.25, 0.251], 0.003)
    assert kinds(holes, ground((0, 0, 1, 1))) == [None, TOO_DEEP]


def test_a_depth_that_is_not_known_is_none():
    piece = ScannedPiece("A", [box(0, 0, 1, 1)], None, 2, 0.0)
    assert kinds(Penetrations.upright([[0.5, 0.5]], 0.02, 0.01, 0.003), KnownGround([piece])) == [TOO_DEEP]


def test_a_hole_through_the_slab_counts_to_the_base():
    def base(points):
        """240 mm with 5 mm of sigma where x is below 0.5; not seen elsewhere."""
        seen = np.where(np.asarray(points)[:, 0] < 0.5, 0.240, np.nan)
        return seen, seen * 0 + 0.005

    holes = Penetrations.upright([[0.3, 0.5], [0.7, 0.5]], 0.02, 0.40, 0.003)
    assert kinds(holes, ground((0, 0, 1, 1), depth_m=0.235, base=base)) == [None, TOO_DEEP]
    assert kinds(holes, ground((0, 0, 1, 1), depth_m=0.200, base=base)) == [TOO_DEEP, TOO_DEEP]


def test_areas_that_overlap_have_no_seam_and_those_apart_have():
    holes = Penetrations.upright([[1.0, 0.5]], 0.05, 0.1, 0.003)
    assert kinds(holes, ground((0, 0, 1.1, 1), (0.9, 0, 2, 1))) == [None]
    assert kinds(holes, ground((0, 0, 0.99, 1), (1.01, 0, 2, 1))) == [OUTSIDE]


def test_an_area_seen_less_deep_does_not_help_a_deep_hole():
    deep = ScannedPiece("deep", [box(0, 0, 1, 1)], 0.25, 2, 0.0)
    shallow = ScannedPiece("shallow", [box(0.9, 0, 2, 1)], 0.10, 2, 0.0)
    known = KnownGround([deep, shallow])
    holes = Penetrations.upright([[1.0, 0.5], [1.0, 0.5], [1.5, 0.5]], 0.05, [0.08, 0.2, 0.2], 0.003)
    assert kinds(holes, known) == [None, TOO_DEEP, TOO_DEEP]


def test_an_inclined_hole_that_leaves_the_scan():
    columns = [np.array([value]) for value in (0.02, 0.30, 0.003, np.radians(90), np.radians(60))]
    known = ground((0, 0, 1, 1))
    assert kinds(Penetrations(["east"], np.array([[0.5, 0.5]]), *columns), known) == [None]
    assert kinds(Penetrations(["east"], np.array([[0.8, 0.5]]), *columns), known) == [OUTSIDE]


def test_areas_without_a_position_are_named():
    known = KnownGround([ScannedPiece("A", [box(0, 0, 1, 1)], 0.2, 2, 0.0)], unplaced=["A7"])
    reasons = find_unknowns(Penetrations.upright([[5, 5]], 0.02, 0.1, 0.0), known, RULES["unknown"], SURE).reasons
    assert "A7" in reasons[0][1]
