"""Migration against PyLops' Kirchhoff operator, a general-purpose reference library (Ravasi and Vasconcelos 2020, SoftwareX 11).

PyLops computes its own travel times here (`mode="analytic"`: straight rays from the transmitter to the point and on to the
receiver), one transmitter and one receiver a trace. Its adjoint sums without weights; those of Schneider 1978 (obliquity times
sqrt(t)) are put on its images of single traces here, so that the two differ in nothing but who computed them.
"""

import numpy as np
import pytest
from synthetic import SEPARATION_M, ricker

from inslab.processing.radar.migration import (
    APERTURE_M,
    APERTURE_MARGIN_M,
    APERTURE_SLOPE,
    NOMINAL_RADIUS_M,
    ImageGrid,
    migration_operator,
)

waveeqprocessing = pytest.importorskip("pylops.waveeqprocessing")
# Announces another way of giving travel times from its version 3 on.
pytestmark = pytest.mark.filterwarnings("ignore:A new implementation of Kirchhoff:FutureWarning")

SPEED_M_NS = 0.11
TRACES_M = np.arange(0, 0.5001, 0.02)
GRID = ImageGrid(np.arange(0.1, 0.4001, 0.005), np.arange(0.021, 0.2001, 0.005))  # no aperture ends just on a trace
# The bar's echo comes from its middle, a radius below its top, and a radius earlier on either leg.
SHIFT_NS = 2 * NOMINAL_RADIUS_M / SPEED_M_NS
SHIFT_SAMPLES = 10
TIME = np.arange(450) * SHIFT_NS / SHIFT_SAMPLES


def radargram():
    """Three bars' hyperbolas over noise, as `across` dipoles see them, shape (trace, sample)."""
    random = np.random.default_rng(8)
    traces = random.normal(0, 0.02, (len(TRACES_M), len(TIME)))
    for place, depth, sign in ((0.15, 0.05, -1), (0.3, 0.05, -1), (0.22, 0.12, 1)):
        x, z = TRACES_M - place, depth + NOMINAL_RADIUS_M
        time = (np.hypot(x - SEPARATION_M / 2, z) + np.hypot(x + SEPARATION_M / 2, z)) / SPEED_M_NS - SHIFT_NS
        traces += sign / np.sqrt(time)[:, None] * ricker(TIME[None, :] - time[:, None])
    return traces


def images_of_traces(traces):
    """PyLops' image of each trace on its own, shape (trace, distance, depth)."""
    out = np.zeros((len(TRACES_M), *GRID.shape))
    for number, place in enumerate(TRACES_M):
        later = np.concatenate([np.zeros(SHIFT_SAMPLES), traces[number, :-SHIFT_SAMPLES]])
        operator = waveeqprocessing.Kirchhoff(
            GRID.depth_m + NOMINAL_RADIUS_M,
            GRID.distance_m,
            TIME,
            np.array([[place - SEPARATION_M / 2], [0.0]]),
            np.array([[place + SEPARATION_M / 2], [0.0]]),
            SPEED_M_NS,
            np.array([1.0]),
            0,
            mode="analytic",
            engine="numpy",
        )
        out[number] = (operator.H @ later).reshape(GRID.shape)
    return out


def weights():
    """Obliquity z/r, sqrt(t) and the aperture, shape (trace, distance, depth)."""
    x = TRACES_M[:, None, None] - GRID.distance_m[None, :, None]
    z = GRID.depth_m[None, None, :]
    axis = z + NOMINAL_RADIUS_M
    legs = np.hypot(x - SEPARATION_M / 2, axis) + np.hypot(x + SEPARATION_M / 2, axis)
    within = np.abs(x) <= np.minimum(APERTURE_M, APERTURE_SLOPE * z + APERTURE_MARGIN_M)
    return within * z / np.hypot(x, z) * np.sqrt(legs / SPEED_M_NS - SHIFT_NS)


def correlation(one, other):
    return float(np.sum(one * other) / np.sqrt(np.sum(one**2) * np.sum(other**2)))


@pytest.fixture(scope="module")
def images():
    traces = radargram()
    ours = migration_operator(TRACES_M, TIME, GRID, SPEED_M_NS, SEPARATION_M, "across") @ traces.ravel()
    return ours.reshape(GRID.shape), images_of_traces(traces)


def test_image_is_that_of_pylops(images):
    ours, theirs = images
    assert correlation(ours, np.sum(weights() * theirs, axis=0)) > 0.9999


def test_weights_change_the_look_and_not_the_places(images):
    ours, theirs = images
    plain = np.sum((weights() > 0) * theirs, axis=0)
    assert correlation(ours, plain) > 0.9
    for place, depth, sign in ((0.15, 0.05, -1), (0.3, 0.05, -1), (0.22, 0.12, 1)):
        near = (np.abs(GRID.distance_m - place) < 0.03)[:, None] & (np.abs(GRID.depth_m - depth) < 0.02)[None, :]
        for image in (ours, plain):
            best = np.unravel_index(np.argmax(np.where(near, sign * image, -np.inf)), GRID.shape)
            assert GRID.distance_m[best[0]] == pytest.approx(place, abs=0.0051)
            assert GRID.depth_m[best[1]] == pytest.approx(depth, abs=0.0051)


def test_operator_and_its_adjoint_make_the_radargram_that_pylops_models():
    # Forward: what one scattering point puts into the traces is spread along the same travel times.
    column, level = 30, 12
    point = np.zeros(GRID.shape)
    point[column, level] = 1.0
    operator = migration_operator(TRACES_M, TIME, GRID, SPEED_M_NS, SEPARATION_M, "across")
    ours = (operator.T @ point.ravel()).reshape(len(TRACES_M), len(TIME))
    x, z = TRACES_M - GRID.distance_m[column], GRID.depth_m[level] + NOMINAL_RADIUS_M
    time = (np.hypot(x - SEPARATION_M / 2, z) + np.hypot(x + SEPARATION_M / 2, z)) / SPEED_M_NS - SHIFT_NS
    used = np.flatnonzero(ours.any(axis=1))
    centre = (ours[used] @ TIME) / ours[used].sum(axis=1)
    assert len(used) > 10
    assert centre == pytest.approx(time[used], abs=1e-5)
