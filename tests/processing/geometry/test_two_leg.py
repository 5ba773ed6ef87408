"""The two-leg path against Fermat's principle and against exact times over a cylinder."""

import numpy as np
import pytest
from synthetic import bar_paths

from inslab.processing.geometry.two_leg import (
    depth_of_path,
    depth_of_plane_path,
    depth_per_path,
    plane_path,
    two_leg_path,
)

# Speed 0.12 m/ns, cover 50 mm, radius 8 mm, antennas 60 mm apart along the travel; offset (m), exact time over a thin bar, exact
# time over the cylinder, time to its axis less two radii (ns): Fermat's principle, minimised in 40 digits.
TIMES = [
    (0.0, 0.971825316, 0.971825316, 0.954988514),
    (0.01, 0.982357420, 0.981244870, 0.965059220),
    (0.025, 1.038164349, 1.031097718, 1.017886156),
    (0.05, 1.234928828, 1.208261898, 1.201370010),
    (0.1, 1.877559462, 1.811814143, 1.810485188),
    (0.15, 2.640128474, 2.553631651, 2.553294825),
    (0.2, 3.438104145, 3.340300642, 3.340184685),
]


@pytest.mark.parametrize(("offset", "thin", "exact", "to_axis"), TIMES)
def test_times_over_a_bar(offset, thin, exact, to_axis):
    assert two_leg_path(offset, 0.05, 0.06, "across") / 0.12 == pytest.approx(thin, abs=1e-9)
    over_bar = two_leg_path(offset, 0.05, 0.06, "across", radius_m=0.008) / 0.12
    assert over_bar == pytest.approx(to_axis, abs=1e-9)
    # The docstring's bound on what the simple form leaves out, always to the early side.
    assert 0 <= exact - over_bar < 0.02


@pytest.mark.parametrize("axis", ["across", "along"])
@pytest.mark.parametrize("degrees", [0, 17, 40, 75])
def test_oblique_bar_is_met_on_the_shortest_way(axis, degrees):
    angle = np.radians(degrees)
    # A line along x; the bar crosses it at x = 0.2 m, turned from the line's normal.
    brute = bar_paths((0, 0), (0.5, 0), 11, axis, (0.2, 0.0, 0.07), (np.sin(angle), np.cos(angle), 0.0))
    path = two_leg_path(np.linspace(0, 0.5, 11) - 0.2, 0.07, 0.06, axis, angle)
    assert path == pytest.approx(brute, abs=1e-9)


def test_a_crossing_to_the_other_side_takes_as_long():
    offset = np.linspace(-0.2, 0.2, 9)
    for axis in ("across", "along"):
        assert two_leg_path(offset, 0.05, 0.06, axis, 0.4) == pytest.approx(
            two_leg_path(offset, 0.05, 0.06, axis, -0.4)
        )


def test_dipoles_beside_each_other_over_a_crossing_bar_see_it_from_farther():
    # Both lie in the plane across the bar when they stand along it: 2 sqrt(x2 + z2) across, and the separation along.
    offset, depth = 0.1, 0.08
    expected = np.hypot(2 * np.hypot(offset, depth), 0.06)
    assert two_leg_path(offset, depth, 0.06, "along") == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("depth", [0.0, 0.02, 0.05, 0.3])
def test_the_slope_of_depth_is_that_of_its_formula(depth):
    """Against the difference quotient of the inverse of `two_leg_path`."""
    per_path, path = depth_per_path(depth, 0.06, 0.008)
    assert path == pytest.approx(float(two_leg_path(0.0, depth, 0.06, "across", 0.0, 0.008)))
    moved = [float(depth_of_path(path + step, 0.06, "across", 0.008)) for step in (0.0, 1e-6)]
    assert moved[0] == pytest.approx(depth, abs=1e-9)
    assert per_path == pytest.approx((moved[1] - moved[0]) / 1e-6, rel=1e-3)


def test_the_path_over_a_plane_by_pythagoras():
    """Down and up over half the separation on either side: a triangle of sides 3, 4 and 5."""
    assert plane_path(0.4, 0.6) == pytest.approx(1.0)
    assert depth_of_plane_path(1.0, 0.6) == pytest.approx(0.4)
    assert depth_of_plane_path(np.array([0.06, 0.05]), 0.06).tolist() == [0.0, 0.0]  # no longer than the direct path


def test_a_plane_sends_back_on_the_shortest_way():
    """Fermat's principle: of all points of the plane the one midway."""
    x = np.linspace(-0.5, 0.5, 20001)
    ways = np.hypot(x - 0.03, 0.11) + np.hypot(x + 0.03, 0.11)
    assert plane_path(0.11, 0.06) == pytest.approx(ways.min(), abs=1e-9)
    assert plane_path(0.11, 0.06) == pytest.approx(float(two_leg_path(0.0, 0.11, 0.06, "along")))
