"""Distances against shapely and dense sampling, probabilities against random draws."""

import numpy as np
import pytest
import shapely.geometry as sg
from obstacles import RULES, line, obstacle, pieces

from inslab.processing.penetrations.clearance import RUNS_ON_M, find_meetings
from inslab.processing.penetrations.model import Confidence, KindRule, Penetrations

LARGEST = RULES["bar"].largest_diameter_m / 2


def test_upright_holes_through_level_items_as_in_shapely():
    random = np.random.default_rng(3)
    vertices = np.column_stack(
        [np.cumsum(random.uniform(0.05, 0.3, 12)), random.uniform(0, 0.3, 12), np.full(12, 0.05)]
    )
    bent = obstacle("bent", vertices)
    ahead = [
        vertices[0] - RUNS_ON_M * unit(vertices[1] - vertices[0]),
        vertices[-1] + RUNS_ON_M * unit(vertices[-1] - vertices[-2]),
    ]
    drawn = sg.LineString(np.vstack([ahead[0], vertices, ahead[1]])[:, :2])
    centres = np.column_stack([random.uniform(0, 2, 300), random.uniform(-0.1, 0.4, 300)])
    diameters = random.uniform(0.008, 0.1, 300)
    holes = Penetrations.upright(centres, diameters, 0.2, 0.003)
    found = find_meetings(holes, pieces(bent), Confidence())
    expected = np.array([drawn.distance(sg.Point(*c)) for c in centres]) - diameters / 2 - LARGEST
    assert len(found.hole) > 200
    np.testing.assert_allclose(found.distance_m, expected[found.hole], atol=2e-5)
    assert set(np.flatnonzero(expected < 0.19)) <= set(found.hole)


def unit(vector):
    return vector / np.hypot(*vector[:2])


@pytest.mark.parametrize("seed", range(6))
def test_inclined_holes_and_sloping_items_by_dense_sampling(seed):
    """The distance of points sampled every 0.1 mm on the item's middle from the solid drilled cylinder."""
    random = np.random.default_rng(seed)
    start = np.array([-0.4, random.uniform(-0.1, 0.1), random.uniform(0.03, 0.2)])
    end = np.array([0.4, random.uniform(-0.1, 0.1), random.uniform(0.03, 0.2)])
    tilt, azimuth = np.radians(random.uniform(0, 50)), random.uniform(0, 2 * np.pi)
    diameter, length = random.uniform(0.01, 0.06), random.uniform(0.05, 0.2)
    hole = Penetrations(["h"], np.zeros((1, 2)), *(np.array([v]) for v in (diameter, length, 0.003, azimuth, tilt)))
    found = find_meetings(hole, pieces(line("a", start, end)), Confidence())
    points = start + np.linspace(0, 1, 9001)[:, None] * (end - start) + [0, 0, LARGEST]
    axis = np.array([np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)])
    along = points @ axis
    aside = np.linalg.norm(points - along[:, None] * axis, axis=1)
    outside = np.hypot(np.maximum(aside - diameter / 2, 0), np.maximum(along - length, 0))
    if outside.min() > 0:
        assert found.distance_m[0] == pytest.approx(outside.min() - LARGEST, abs=2e-5)
    else:
        assert found.distance_m[0] < -LARGEST


def test_below_a_hole_only_the_depth_counts():
    found = find_meetings(
        Penetrations.upright([0, 0], 0.05, 0.03, 0.003),
        pieces(line("a", (-1, 0.01, 0.07), (1, 0.01, 0.07))),
        Confidence(),
    )
    assert found.distance_m[0] == pytest.approx(0.04)
    # Depth of the item 4 mm, of drilling 5 mm: root of the sum of squares.
    assert found.sigma_m[0] == pytest.approx(np.hypot(0.004, 0.005))


def test_beside_a_hole_only_the_plan_counts():
    found = find_meetings(
        Penetrations.upright([0, 0], 0.05, 0.2, 0.002), pieces(line("a", (-1, 0.1, 0.07), (1, 0.1, 0.07))), Confidence()
    )
    assert found.distance_m[0] == pytest.approx(0.1 - 0.025 - LARGEST)
    assert found.sigma_m[0] == pytest.approx(np.hypot(0.003, 0.002))


def test_an_item_runs_on_beyond_the_end_that_was_found():
    item = pieces(line("a", (0, 0, 0.05), (1, 0, 0.05)))
    holes = Penetrations.upright([[1.0 + RUNS_ON_M, 0.05], [1.0 + RUNS_ON_M + 0.05, 0.0]], 0.01, 0.2, 0.003)
    found = find_meetings(holes, item, Confidence())
    np.testing.assert_allclose(found.distance_m, 0.05 - 0.005 - LARGEST, atol=1e-6)


@pytest.mark.parametrize(
    ("aside", "depth", "diameter", "sigma", "tolerance"),
    [
        (0.000, 0.20, 0.012, 0.004, 0.003),
        (0.015, 0.20, 0.012, 0.004, 0.003),
        (0.030, 0.20, 0.022, 0.008, 0.005),
        (0.020, 0.052, 0.030, 0.006, 0.002),  # the hole ends just below the item's top
        (0.060, 0.20, 0.102, 0.010, 0.000),
    ],
)
def test_probability_of_touching_by_random_draws(aside, depth, diameter, sigma, tolerance):
    """Half a million draws of place, depth and size; the error of a frequency is then below 0.0007 (1 sigma)."""
    top, sigma_depth, of_drilling = 0.05, 0.006, 0.005
    item = line("a", (-1, aside, top), (1, aside, top), sigma_xy_m=sigma, sigma_depth_m=sigma_depth)
    holes = Penetrations.upright([0, 0], diameter, depth, tolerance)
    found = find_meetings(holes, pieces(item), Confidence(depth_tolerance_m=of_drilling))
    random = np.random.default_rng(11)
    count = 500_000
    gap = np.abs(aside + random.normal(0, sigma, count) + random.normal(0, tolerance, count))
    radius = random.uniform(RULES["bar"].smallest_diameter_m, RULES["bar"].largest_diameter_m, count) / 2
    ends = depth + random.normal(0, of_drilling, count)
    reached = top + random.normal(0, sigma_depth, count) < ends
    share = np.mean((gap < diameter / 2 + radius) & reached)
    assert found.touch_probability[0] == pytest.approx(share, abs=0.003)


def test_distances_count_to_the_largest_size():
    """A smaller object under the same top lies inside the larger one, so that no size comes closer."""
    random = np.random.default_rng(5)
    for _ in range(20):
        depth, aside = random.uniform(0.02, 0.2), random.uniform(0.0, 0.1)
        distances = []
        for largest in (0.006, 0.012, 0.025, 0.06):
            item = line("a", (-1, aside, 0.08), (1, aside, 0.08), rule=KindRule(0.015, 0.006, largest))
            holes = Penetrations.upright([0, 0], 0.02, depth, 0.003)
            distances.append(find_meetings(holes, pieces(item), Confidence()).distance_m[0])
        assert np.all(np.diff(distances) <= 1e-6)


def test_what_must_be_left():
    """Keep-out and 1.645 sigma (one-sided 95 per cent), or 3.090 sigma (one in a thousand) where that is more: normal tables."""
    confidence = Confidence(0.95, 0.001)
    assert confidence.needed_m(0.015, 0.004) == pytest.approx(0.015 + 1.6449 * 0.004, abs=1e-6)
    assert confidence.needed_m(0.0, 0.004) == pytest.approx(3.0902 * 0.004, abs=1e-6)


def test_nothing_near_gives_nothing():
    holes = Penetrations.upright([[0, 0]], 0.02, 0.1, 0.003)
    assert len(find_meetings(holes, pieces(), Confidence()).hole) == 0
    assert len(find_meetings(holes, pieces(line("a", (5, 0, 0.05), (6, 0, 0.05))), Confidence()).hole) == 0
