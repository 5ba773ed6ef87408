"""Ghost rules: the predicted places come from path lengths, found here by search instead of formula."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from inslab.processing.radar.migration import NOMINAL_RADIUS_M
from inslab.processing.tracks.artefacts import beside_stronger, double_bounce, refuse
from inslab.processing.tracks.stack import Track

WAVELENGTH = 0.075
OFFSETS = np.linspace(-0.25, 0.25, 11)


def track(u, z, strength=10.0, slope=0.0, dip=0.0):
    return Track(u, slope, z, dip, strength, 0.8, 3.0)


def bounce_place(first, second):
    """Where an echo antenna - first - second - antenna is migrated to: the apex of its path as a function of the antenna."""
    (u1, z1), (u2, z2) = (np.add(bar, (0.0, NOMINAL_RADIUS_M)) for bar in (first, second))
    between = np.hypot(u2 - u1, z2 - z1)

    def path(x):
        return np.hypot(x - u1, z1) + between + np.hypot(x - u2, z2)

    apex = minimize_scalar(path, bounds=(min(u1, u2), max(u1, u2)), method="bounded", options={"xatol": 1e-10})
    # All lengths are to the bars' middles; a real surface-to-surface path is shorter by four radii.
    return apex.x, 0.5 * apex.fun - 2 * NOMINAL_RADIUS_M


@pytest.mark.parametrize(
    "bars", [((0.0, 0.05), (0.15, 0.05)), ((0.0, 0.05), (0.1, 0.09)), ((0.1, 0.04), (-0.05, 0.06))]
)
def test_double_bounce_lies_where_its_path_is_stationary(bars):
    u, z = bounce_place(*bars)
    parents = [track(*bar) for bar in bars]
    assert double_bounce(track(u, z, 5.0), parents, OFFSETS, WAVELENGTH)
    # Half a wavelength beside or below it stands on its own.
    assert double_bounce(track(u + 0.5 * WAVELENGTH, z, 5.0), parents, OFFSETS, WAVELENGTH) is None
    assert double_bounce(track(u, z + 0.5 * WAVELENGTH, 5.0), parents, OFFSETS, WAVELENGTH) is None


def test_strong_echo_is_no_double_bounce():
    # An echo off two bars cannot outshine them.
    bars = ((0.0, 0.05), (0.15, 0.05))
    ghost = bounce_place(*bars)
    parents = [track(*bar) for bar in bars]
    assert refuse(track(*ghost, 20.0), parents, OFFSETS, WAVELENGTH) is None
    assert "double bounce" in refuse(track(*ghost, 5.0), parents, OFFSETS, WAVELENGTH)
    assert refuse(track(*ghost, 5.0), parents, OFFSETS, WAVELENGTH, in_mat=True) is None


def test_crossing_bars_throw_no_double_bounce_along_the_whole_way():
    bars = [track(0.0, 0.05, slope=0.5), track(0.15, 0.05, slope=-0.5)]
    assert double_bounce(track(0.075, 0.09, 5.0), bars, OFFSETS, WAVELENGTH) is None


def test_multiple_lies_below_its_parent():
    parent = track(0.0, 0.05)
    # Surface and bar once more: twice the path.
    multiple = track(0.0, 0.05 * 2, 4.0)
    assert "multiple" in refuse(multiple, [parent], OFFSETS, WAVELENGTH)
    assert refuse(track(0.0, 0.1, 8.0), [parent], OFFSETS, WAVELENGTH) is None  # too strong for one
    assert refuse(track(0.06, 0.1, 4.0), [parent], OFFSETS, WAVELENGTH) is None  # beside it
    assert refuse(track(0.0, 0.1, 4.0, slope=0.3), [parent], OFFSETS, WAVELENGTH) is None  # another direction
    assert refuse(track(0.0, 0.2, 4.0), [parent], OFFSETS, WAVELENGTH) is None  # too deep


def test_echo_close_to_a_stronger_one_is_the_same():
    parent = track(0.0, 0.05)
    assert "same echo" in refuse(track(0.02, 0.06, 5.0), [parent], OFFSETS, WAVELENGTH)
    assert refuse(track(0.045, 0.05, 9.0), [parent], OFFSETS, WAVELENGTH) is None


def test_crossing_of_two_limbs_is_refused():
    neighbours = [track(-0.05, 0.05), track(0.05, 0.05)]
    assert beside_stronger(track(0.0, 0.06, 5.0), neighbours, OFFSETS, WAVELENGTH)
    assert beside_stronger(track(0.0, 0.06, 9.0), neighbours, OFFSETS, WAVELENGTH) is None  # nearly as strong
    assert beside_stronger(track(0.03, 0.06, 5.0), neighbours, OFFSETS, WAVELENGTH) is None  # not midway
    assert beside_stronger(track(0.0, 0.06, 5.0), neighbours[:1], OFFSETS, WAVELENGTH) is None  # on one side only
    # What the direct wave leaves between bars lies a little above them; a third of the wavelength above is something else.
    assert beside_stronger(track(0.0, 0.035, 5.0), neighbours, OFFSETS, WAVELENGTH)
    assert beside_stronger(track(0.0, 0.02, 5.0), neighbours, OFFSETS, WAVELENGTH) is None
