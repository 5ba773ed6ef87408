"""Migration of a point diffractor against its closed form."""

import numpy as np
import pytest
from scipy.signal import hilbert
from synthetic import SEPARATION_M, ricker

from inslab.processing.radar.migration import NOMINAL_RADIUS_M, ImageGrid, migration_operator

SPEED_M_NS = 0.12
TIME = np.arange(-0.2, 6.0, 0.01)
TRACES_M = np.arange(0, 0.6001, 0.01)
PLACE_M = 0.3


def echo_of(depth_m, frequency_ghz, axis, sign):
    """Radargram of a thin bar across the line: pulse at the time of the two legs, 1/sqrt(path).

    Across: hypot(x - s/2, z) + hypot(x + s/2, z); along, both dipoles s/2 beside the line's track on the bar's own direction:
    2 sqrt(x2 + z2 + s2/4) (Daniels, Ground Penetrating Radar, hyperbola of a separated pair; from memory). The bar's top is
    `depth_m` deep; its middle scatters, a radius lower and as much earlier, both ways.
    """
    x, z = TRACES_M - PLACE_M, depth_m + NOMINAL_RADIUS_M
    if axis == "across":
        path = np.hypot(x - SEPARATION_M / 2, z) + np.hypot(x + SEPARATION_M / 2, z) - 2 * NOMINAL_RADIUS_M
    else:
        path = np.hypot(2 * np.hypot(x, z) - 2 * NOMINAL_RADIUS_M, SEPARATION_M)
    time = path / SPEED_M_NS
    return sign / np.sqrt(time)[:, None] * ricker(TIME[None, :] - time[:, None], frequency_ghz)


def image_of(traces, grid, axis):
    operator = migration_operator(TRACES_M, TIME, grid, SPEED_M_NS, SEPARATION_M, axis, 0.0, 1.5)
    return (operator @ hilbert(traces, axis=1).ravel()).reshape(grid.shape)


@pytest.mark.parametrize("axis", ["across", "along"])
@pytest.mark.parametrize("depth", [0.041, 0.103, 0.201])
@pytest.mark.parametrize("sign", [-1, 1])
def test_point_comes_out_at_its_place_with_its_sign(axis, depth, sign):
    grid = ImageGrid(PLACE_M + np.arange(-40, 41) * 0.0021, depth + np.arange(-15, 16) * 0.002)
    image = image_of(echo_of(depth, 1.5, axis, sign), grid, axis)
    column, level = np.unravel_index(np.argmax(np.abs(image)), grid.shape)
    assert grid.distance_m[column] == pytest.approx(PLACE_M, abs=1e-9)
    # The weights and the aperture grow with depth and draw the envelope of a shallow point down, by 8 mm at 41 mm; its phase
    # tells the depth.
    assert grid.depth_m[level] == pytest.approx(depth, abs=0.009 if depth < 0.05 else 0.0021)
    # Polarity: what is summed along the right path is in phase, so the image has the pulse's own sign there.
    at_point = image[column, np.argmin(np.abs(grid.depth_m - depth))]
    assert np.angle(sign * at_point) == pytest.approx(0.0, abs=np.radians(5))
    # As the point lies midway between equal traces, left and right agree.
    assert np.abs(image) == pytest.approx(np.abs(image[::-1]), abs=0.03 * np.abs(image).max())


def test_peak_is_the_closed_form_sum():
    # At the point all traces add up in phase: the sum over them of z/r sqrt(t) dx times the amplitude 1/sqrt(t).
    depth = 0.103
    grid = ImageGrid(np.array([PLACE_M]), np.array([depth]))
    got = image_of(echo_of(depth, 1.5, "across", 1), grid, "across")[0, 0].real
    x = TRACES_M - PLACE_M
    reach = min(0.24, 1.3 * depth + 0.03)
    used = np.abs(x) <= reach + 1e-9
    assert got == pytest.approx(np.sum(0.01 * depth / np.hypot(x[used], depth)), rel=0.01)
    # As an integral: 2 z arsinh(reach/z).
    assert got == pytest.approx(2 * depth * np.arcsinh(reach / depth), rel=0.04)


def test_resolution_across_is_that_of_the_aperture():
    # Width of a migrated point lambda/(4 sin alpha), alpha the half-angle of the aperture (Yilmaz, Seismic Data Analysis, 1987,
    # ch. 11, and Claerbout; convention, from memory): within a factor of the two common definitions of width.
    depth = 0.15
    grid = ImageGrid(PLACE_M + np.arange(-60, 61) * 0.001, np.array([depth]))
    magnitude = np.abs(image_of(echo_of(depth, 1.5, "across", 1), grid, "across"))[:, 0]
    wide = np.sum(magnitude > 0.5 * magnitude.max()) * 0.001
    expected = SPEED_M_NS / 1.5 / (4 * np.sin(np.arctan(min(0.24, 1.3 * depth + 0.03) / depth)))
    assert 0.8 * expected < wide < 2.0 * expected


@pytest.mark.parametrize("wrong", [0.9, 1.1])
def test_wrong_speed_blurs_the_point(wrong):
    depth = 0.15
    grid = ImageGrid(PLACE_M + np.arange(-30, 31) * 0.002, np.arange(0.1, 0.2, 0.002))
    traces = hilbert(echo_of(depth, 1.5, "across", 1), axis=1).ravel()

    def sharpness(speed):
        operator = migration_operator(TRACES_M, TIME, grid, speed, SEPARATION_M, "across")
        power = np.abs(operator @ traces) ** 2
        return np.sum(power**2) / np.sum(power) ** 2

    assert sharpness(wrong * SPEED_M_NS) < 0.9 * sharpness(SPEED_M_NS)
