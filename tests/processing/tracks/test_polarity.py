"""Signs of echoes: metal, void, and what is neither, on echoes of stated sign."""

import numpy as np
import pytest

from inslab.processing.tracks.polarity import is_neither, is_void, metal_turn
from inslab.processing.tracks.refine import Sightings
from inslab.processing.tracks.stack import Track


def echo(across_deg, along_deg, across=8.0, along=5.0):
    nothing = {"across": np.zeros(3), "along": np.zeros(3)}
    phases = {"across": np.radians(across_deg), "along": np.radians(along_deg)}
    stacked = {"across": across, "along": along}
    track = Track(0.2, 0.0, 0.1, 0.0, 9.0, 0.8, 3.0)
    u = np.full(3, 0.2)
    return Sightings(track, np.arange(3) * 0.05, u, u, nothing, u, nothing, nothing, stacked, phases, "across")


def test_metal_turns_the_pulse_round():
    """A Ricker pulse reflected by metal is its negative: phase pi at its centre, so that nothing is turned back."""
    assert metal_turn(np.pi) == pytest.approx(0.0)
    assert not is_neither(echo(180.0, 180.0))
    assert not is_neither(echo(-120.0, 180.0))
    assert not is_void(echo(180.0, 180.0))


def test_a_void_keeps_the_sign_and_answers_dipoles_along_the_line_best():
    void = echo(80.0, 60.0, across=6.0, along=9.0)
    assert is_void(void)
    assert not is_neither(void)
    assert not is_void(echo(80.0, 60.0, across=9.0, along=9.0))


def test_other_signs_are_of_nothing():
    assert is_neither(echo(335.0, 157.0))
    assert is_neither(echo(80.0, 60.0, across=9.0, along=9.0))
    # Without dipoles across the line there is nothing to judge by.
    assert not is_neither(echo(np.nan, 335.0))
