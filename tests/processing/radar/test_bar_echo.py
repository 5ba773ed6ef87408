"""Echoes of bars against the exact series of a conducting cylinder, and against travel times."""

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.special import h1vp, hankel1, jv, jvp

from inslab.processing.radar import bar_echo
from inslab.processing.radar.bar_echo import make_table
from inslab.processing.radar.half_space import Pulse, Spectrum

LIGHT_M_NS = 0.299792458
HEIGHT_M, RADIUS_M, SEPARATION_M = 0.004, 0.006, 0.06


def fine_steps(monkeypatch, step):
    """Wavenumbers close enough for concrete without loss, or for no concrete at all."""
    monkeypatch.setattr(bar_echo, "ALONG_STEP", step)
    monkeypatch.setattr(bar_echo, "ACROSS_STEP", step)


def series(omega, offset, axis_depth, axis, orders):
    """Echo of a cylinder to dipoles in free space, by cylinder waves instead of plane ones.

    The field along the cylinder of a dipole at distance d is a multiple of H0(kappa d), the magnetic field of one at right angles
    to it a slope of that; the addition theorem turns H0 into orders about the cylinder, and each order meets the coefficient of
    Balanis, Advanced Engineering Electromagnetics, ch. 11, with the wavenumber across it for k (from memory).
    """
    k = omega / LIGHT_M_NS
    step = 0.1
    q = (np.arange(8000) - 3999.5) * step
    kappa = np.sqrt(k**2 - q**2 + 0j)
    kappa = np.where(kappa.imag < 0, -kappa, kappa)

    def wave(n, across, down=axis_depth):
        """H_n e^(i n angle) about the cylinder, from a place beside it: its cosine and sine parts."""
        distance, angle = np.hypot(across, down), np.arctan2(across, down)
        return hankel1(n, kappa * distance) * np.array([[np.cos(n * angle)], [np.sin(n * angle)]])

    e = 1e-6  # for slopes by differences
    total = np.zeros_like(kappa)
    for n in orders:
        weight = 1 if n == 0 else 2
        electric = weight * jv(n, kappa * RADIUS_M) / hankel1(n, kappa * RADIUS_M)
        magnetic = weight * jvp(n, kappa * RADIUS_M) / h1vp(n, kappa * RADIUS_M)
        if axis == "across":
            both = wave(n, offset - SEPARATION_M / 2) * wave(n, offset + SEPARATION_M / 2)
            total = total + (omega / 4) * (kappa / k) ** 2 * electric * both.sum(axis=0)
        else:
            across = (wave(n, offset + e) - wave(n, offset - e)) / (2 * e)
            down = (wave(n, offset, axis_depth + e) - wave(n, offset, axis_depth - e)) / (2 * e)
            by_magnetic = (omega / (4 * kappa**2)) * magnetic * (down**2).sum(axis=0)
            by_electric = (omega * (q / k) ** 2 / (4 * kappa**2)) * electric * (across**2).sum(axis=0)
            total = total + (by_magnetic + by_electric) * np.cos(q * SEPARATION_M)
    return np.sum(total) * step / (2 * np.pi)


@pytest.mark.parametrize("axis", ["across", "along"])
@pytest.mark.parametrize("frequency_ghz", [0.5, 1.0, 2.0, 3.5])
def test_dipoles_beside_a_cylinder_without_any_concrete(monkeypatch, axis, frequency_ghz):
    """Permittivity 1: no surface is left, and the series holds at every distance and angle."""
    fine_steps(monkeypatch, 0.5)
    omega = 2 * np.pi * frequency_ghz + 0.4j
    # The shallowest depth decides how far the integrals run; what decays fastest there is cut off.
    depths = np.array([0.015, 0.06, 0.12])
    table = make_table(Spectrum(np.array([omega]), 1.0), 1.0, 0.0, SEPARATION_M, HEIGHT_M, RADIUS_M, depths)
    for place in (0, 3):
        for level in (1, 2):
            offset, depth = table.offsets_m[place], depths[level]
            direct = np.exp(1j * omega * 2 * np.hypot(offset, depth) / LIGHT_M_NS)
            echo = getattr(table, axis)[place, level, 0] * direct
            expected = series(omega, offset, HEIGHT_M + depth + RADIUS_M, axis, (0, 1))
            assert abs(echo / expected - 1) < 2e-6
            # The orders left out, at ka up to 0.44.
            assert abs(echo / series(omega, offset, HEIGHT_M + depth + RADIUS_M, axis, range(5)) - 1) < 0.02


# Back-scattering widths of a conducting cylinder, series of Balanis ch. 11: E along the axis over E across it, dB.
@pytest.mark.parametrize(
    ("diameter_m", "frequency_ghz", "contrast_db"),
    [(0.009525, 1.0, 13.3263), (0.010, 1.0, 12.6016), (0.0127, 1.0, 9.09691), (0.009525, 2.0, 3.71788)],
)
def test_contrast_of_the_dipole_axes_over_a_deep_bar_is_that_of_the_series(
    monkeypatch, diameter_m, frequency_ghz, contrast_db
):
    fine_steps(monkeypatch, 1.0)
    spectrum = Spectrum(np.array([2 * np.pi * frequency_ghz + 0.05j]), 1.0)
    table = make_table(spectrum, 6.25, 0.0, 0.0, HEIGHT_M, diameter_m / 2, np.array([0.30, 0.40]))
    contrast = 20 * np.log10(np.abs(table.across[0, :, 0] / table.along[0, :, 0]))
    # The rest falls with the distance in wavelengths.
    assert contrast == pytest.approx(contrast_db, abs=0.35)


@pytest.fixture(scope="module")
def in_concrete():
    spectrum = Spectrum.over(4.0, 9.0)
    depths = np.array([0.05, 0.07, 0.09, 0.11, 0.13, 0.15])
    return make_table(spectrum, 7.0, 0.02, SEPARATION_M, HEIGHT_M, RADIUS_M, depths)


@pytest.mark.parametrize("axis", ["across", "along"])
def test_deep_bars_answer_at_their_travel_time(in_concrete, axis):
    """Between two depths or offsets the echo is delayed by the difference of the paths over the speed."""
    table, speed = in_concrete, LIGHT_M_NS / np.sqrt(7.0)
    time = np.arange(0.0, 6.0, 0.005)
    echoes = table.echoes(axis, [0.0, 0.05], [0.11, 0.15], Pulse(1.5).current(table.spectrum.omega), time)
    at = time[np.argmax(np.abs(hilbert(echoes, axis=-1)), axis=-1)]  # (depth, offset)

    def path(offset, depth):
        # The legs to the bar's axis less its radius on either side; the dipoles apart across the bar, or along it.
        down = depth + RADIUS_M
        if axis == "across":
            legs = np.hypot(offset - SEPARATION_M / 2, down) + np.hypot(offset + SEPARATION_M / 2, down)
            return legs - 2 * RADIUS_M
        return np.hypot(2 * np.hypot(offset, down) - 2 * RADIUS_M, SEPARATION_M)

    assert at[1, 0] - at[0, 0] == pytest.approx((path(0, 0.15) - path(0, 0.11)) / speed, abs=0.02)
    assert at[1, 1] - at[1, 0] == pytest.approx((path(0.05, 0.15) - path(0, 0.15)) / speed, abs=0.02)
    # Metal reflects like a wall: the echo comes within a third of a period of the ray.
    assert at[1, 0] == pytest.approx(path(0, 0.15) / speed, abs=0.22)


@pytest.mark.parametrize("axis", ["across", "along"])
def test_between_the_entries_of_the_table_echoes_are_those_of_their_own_depth(in_concrete, axis):
    table = in_concrete
    own = make_table(table.spectrum, 7.0, 0.02, SEPARATION_M, HEIGHT_M, RADIUS_M, np.array([0.05, 0.08]))
    time = np.arange(0.0, 5.0, 0.02)
    current = Pulse(1.5).current(table.spectrum.omega)
    between = table.echoes(axis, [0.0, 0.05], [0.08], current, time)
    exact = own.echoes(axis, [0.0, 0.05], [0.08], current, time)
    for one, other in zip(between[0], exact[0]):
        likeness = one @ other / (np.linalg.norm(one) * np.linalg.norm(other))
        # What is matched is the shape; between entries 20 mm apart the amplitude is 4 % too large.
        assert likeness > 0.9995
        assert np.linalg.norm(one) == pytest.approx(np.linalg.norm(other), rel=0.05)


@pytest.mark.parametrize("axis", ["across", "along"])
def test_wavenumbers_are_close_enough_in_concrete(monkeypatch, in_concrete, axis):
    fine_steps(monkeypatch, 2.0)
    finer = make_table(in_concrete.spectrum, 7.0, 0.02, SEPARATION_M, HEIGHT_M, RADIUS_M, np.array([0.05, 0.15]))
    time = np.arange(0.0, 5.0, 0.02)
    current = Pulse(1.5).current(finer.spectrum.omega)
    places, depths = [0.0, 0.10, 0.20], [0.05, 0.15]
    usual, better = (table.echoes(axis, places, depths, current, time) for table in (in_concrete, finer))
    assert np.abs(usual - better).max() < 0.02 * np.abs(better).max()
