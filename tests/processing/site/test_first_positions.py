"""First positions: from observations without errors they are the true ones, so that the adjustment has a good start."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.site.first_positions import first_positions
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import KnownDirection, Observations, TapeDistance, Tie
from inslab.processing.survey.model import ControlPoint, ScanArea

TRUTH = AreaFit("A", FITTED, 0.3, np.array([20.0, 30.0]))
PLACES = [(0.4, 0.2), (1.2, 0.9)]


def first(truths, control=None, **observed):
    """First positions of areas, by the number of control points that each has."""
    areas = [ScanArea(one.area_id, "L1", "soffit" if one.mirrored else "top", 0.06, 1500.0) for one in truths]
    points = {
        one.area_id: [
            ControlPoint(one.area_id, str(here), here, tuple(one.to_site([here])[0]), 0.003)
            for here in PLACES[: (control or {}).get(one.area_id, 0)]
        ]
        for one in truths
    }
    return first_positions(areas, points, Observations(**observed))


def taped(name, truth, place, bearing, start=(1.0, 2.0)):
    """A distance without error from a line through `start` that runs at `bearing`, degrees from x."""
    along = np.array([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
    across = truth.to_site([place])[0] - start
    return TapeDistance(
        name,
        truth.area_id,
        place,
        start,
        tuple(start + 40 * along),
        float(along[0] * across[1] - along[1] * across[0]),
        0.004,
    )


def known(truth, local_rad=2.5):
    side = -1.0 if truth.mirrored else 1.0
    return KnownDirection("D", truth.area_id, local_rad, truth.rotation_rad + side * local_rad, 0.002)


def assert_placed(found, truth):
    assert found.to_site(PLACES) == pytest.approx(truth.to_site(PLACES), abs=1e-9)
    assert found.rotation_rad == pytest.approx(truth.rotation_rad, abs=1e-9)
    assert found.mirrored == truth.mirrored


@pytest.mark.parametrize("mirrored", [False, True])
def test_each_way_to_place_an_area_places_it(mirrored):
    truth = replace(TRUTH, mirrored=mirrored)
    crossing = [
        taped(f"{n}{bearing}", truth, place, bearing) for n, place in enumerate(PLACES) for bearing in (10.0, 80.0)
    ]
    apart = (taped("1", truth, PLACES[0], 10.0), taped("2", truth, PLACES[1], 100.0))
    for found in (
        first([truth], {"A": 2}),
        first([truth], {"A": 1}, directions=(known(truth), known(truth, -0.4))),
        first([truth], distances=tuple(crossing)),
        first([truth], {"A": 1}, distances=tuple(crossing[2:])),
        first([truth], directions=(known(truth),), distances=apart),
    ):
        assert_placed(found["A"], truth)
    # Too little: a point, a direction, a point taped twice, distances from one point without a direction.
    assert first([truth], {"A": 1}) == {}
    assert first([truth], directions=(known(truth),)) == {}
    assert first([truth], directions=(known(truth),), distances=apart[:1]) == {}
    assert first([truth], distances=tuple(crossing[:2])) == {}
    assert first([truth], distances=apart) == {}


def test_only_the_area_s_own_observations_place_it():
    other = replace(TRUTH, area_id="B")
    apart = (taped("1", other, PLACES[0], 10.0), taped("2", other, PLACES[1], 100.0))
    found = first([TRUTH, other], {"A": 1}, directions=(known(other),), distances=apart)
    assert list(found) == ["B"]
    assert_placed(found["B"], other)


def test_areas_are_reached_from_tie_to_tie():
    """C hangs on B, and B on A; ties name the two areas in either order. A tie across an item places nothing."""
    b = AreaFit("B", FITTED, -0.4, np.array([21.0, 30.5]))
    c = AreaFit("C", FITTED, 2.0, np.array([22.0, 30.0]), mirrored=True)

    def tie(name, one, other, place, direction_rad=None):
        there = tuple(other.to_local(one.to_site([place]))[0])
        return Tie(name, (one.area_id, other.area_id), (place, there), 0.002, direction_rad)

    ties = (
        tie("T1", c, b, (0.1, 0.3)),
        tie("T2", b, c, (1.0, 0.9)),
        tie("T3", b, TRUTH, (0.1, 0.0)),
        tie("T4", TRUTH, b, (1.1, 0.8)),
    )
    found = first([c, b, TRUTH], {"A": 2}, ties=ties)
    for truth in (TRUTH, b, c):
        assert_placed(found[truth.area_id], truth)
    across = (ties[2], tie("T5", TRUTH, b, (1.1, 0.8), 0.5))
    assert list(first([c, b, TRUTH], {"A": 2}, ties=(*ties[:2], *across))) == ["A"]


@pytest.mark.parametrize(("angle", "placed"), [(6.5, False), (7.5, True), (-6.5, False), (173.5, False), (172.5, True)])
def test_lines_that_hardly_cross_place_nothing(angle, placed):
    """The smaller singular value of two unit vectors at an angle f is sqrt(1 - |cos f|): sin 5 degrees at f = 7.07 degrees."""
    pairs = [taped(f"{n}{b}", TRUTH, place, b) for n, place in enumerate(PLACES) for b in (10.0, 10.0 + angle)]
    assert ("A" in first([TRUTH], distances=tuple(pairs))) == placed
    one_each = (taped("1", TRUTH, PLACES[0], 10.0), taped("2", TRUTH, PLACES[1], 10.0 + angle))
    assert ("A" in first([TRUTH], directions=(known(TRUTH),), distances=one_each)) == placed


@pytest.mark.parametrize(("apart_m", "placed"), [(0.019, False), (0.021, True)])
@pytest.mark.parametrize("grid", ["local", "site"])
def test_two_points_closer_than_20_mm_give_no_direction(apart_m, placed, grid):
    local, site = np.array([[1.0, 1.0], [1.1, 1.0]]), np.array([[5.0, 6.0], [5.1, 6.0]])
    moved = local if grid == "local" else site
    moved[1] = moved[0] + (0.0, apart_m)
    area = ScanArea("A", "L1", "top", 0.06, 1500.0)
    points = [
        ControlPoint("A", str(n), tuple(here), tuple(there), 0.001) for n, (here, there) in enumerate(zip(local, site))
    ]
    assert ("A" in first_positions([area], {"A": points}, Observations())) == placed
