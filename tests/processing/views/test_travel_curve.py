"""The travel-time curve against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.views.travel_curve import TravelCurve

OFFSETS = np.linspace(-0.2, 0.2, 21)


def test_without_separation_and_radius_it_is_the_textbook_hyperbola():
    """t^2 = t0^2 + (2 x / v)^2, e.g. D. J. Daniels (ed.), Ground Penetrating Radar, 2nd ed. (2004), from memory."""
    curve = TravelCurve(0.4, 2.0, 0.1, 0.0, "across", 0.0)
    assert curve.time_ns(0.4 + OFFSETS) == pytest.approx(np.sqrt(2.0**2 + (2 * OFFSETS / 0.1) ** 2))
    assert curve.depth_m == pytest.approx(0.1)  # half the way of 2 ns at 0.1 m/ns


def test_dipoles_apart_along_the_travel_make_two_legs():
    """By hand: a bar of radius 0, 60 mm deep, dipoles 80 mm apart; legs from both dipoles by Pythagoras."""
    depth, separation, speed = 0.06, 0.08, 0.11
    legs = np.hypot(OFFSETS - separation / 2, depth) + np.hypot(OFFSETS + separation / 2, depth)
    apex = 2 * np.hypot(separation / 2, depth) / speed
    curve = TravelCurve(0.0, apex, speed, separation, "across", 0.0)
    assert curve.depth_m == pytest.approx(depth)
    assert curve.time_ns(OFFSETS) == pytest.approx(legs / speed)


def test_dipoles_apart_across_the_travel_make_a_right_angle():
    """By hand: both legs are equal, and the separation lies along the bar."""
    depth, separation, speed = 0.06, 0.08, 0.11
    curve = TravelCurve(0.0, np.hypot(2 * depth, separation) / speed, speed, separation, "along", 0.0)
    assert curve.depth_m == pytest.approx(depth)
    assert curve.time_ns(OFFSETS) == pytest.approx(np.sqrt(4 * (OFFSETS**2 + depth**2) + separation**2) / speed)


def test_relative_permittivity():
    """v = c / sqrt(permittivity); c from the SI definition of the metre."""
    assert TravelCurve(0.0, 2.0, 0.299792458 / 3, 0.0, "across").relative_permittivity == pytest.approx(9.0)


@pytest.mark.parametrize("dipole_axis", ["across", "along"])
@pytest.mark.parametrize("offset", [-0.15, 0.15])
def test_dragging_a_flank_finds_the_speed(dipole_axis, offset):
    true = TravelCurve(0.3, 1.9, 0.113, 0.06, dipole_axis)
    found = replace(true, speed_m_ns=0.09).through(0.3 + offset, float(true.time_ns(0.3 + offset)))
    assert found.speed_m_ns == pytest.approx(true.speed_m_ns, abs=1e-6)
    assert (found.apex_m, found.apex_ns) == (true.apex_m, true.apex_ns)


def test_a_point_that_no_concrete_could_give_ends_at_the_limits():
    curve = TravelCurve(0.0, 2.0, 0.1, 0.06, "across")
    assert curve.through(0.1, 1.0).speed_m_ns == pytest.approx(0.2)
    assert curve.through(0.1, 50.0).speed_m_ns == pytest.approx(0.05)
