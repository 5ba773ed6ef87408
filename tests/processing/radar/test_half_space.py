"""The dipole over a half-space in its limits, and the way back to time."""

import numpy as np
import pytest
from synthetic import ricker

from inslab.processing.radar.half_space import DAMPING, Pulse, Spectrum, direct_wave
from inslab.sample_project import antenna

OMEGA = 2 * np.pi * np.array([0.4, 1.0, 1.5, 3.0]) + 1j * DAMPING
SEPARATION = 0.06


def free_dipole(omega, distance):
    """Field of a short dipole broadside to it, parallel component: Balanis, Antenna Theory, eq. 4-10a (from memory), with the
    conjugate for exp(-i w t), minus sign because E_theta points against the dipole there, permeability 1.
    """
    q = omega / 0.299792458 * distance
    return 1j * omega / (4 * np.pi * distance) * (1 - 1 / (1j * q) + 1 / (1j * q) ** 2) * np.exp(1j * q)


def test_over_nothing_it_is_the_free_dipole():
    got = direct_wave(OMEGA, SEPARATION, 0.004, 1.0, 0.0)
    assert got == pytest.approx(free_dipole(OMEGA, SEPARATION), rel=1e-9)


@pytest.mark.parametrize("height", [0.005, 0.02])
def test_over_a_perfect_conductor_it_is_dipole_and_image(height):
    # Image theory: a horizontal dipole over a perfect conductor is answered by a reversed one as far below.
    got = direct_wave(OMEGA, SEPARATION, height, 1.0, 1e12)
    image = free_dipole(OMEGA, np.hypot(SEPARATION, 2 * height))
    assert got == pytest.approx(free_dipole(OMEGA, SEPARATION) - image, rel=4e-3)


def test_far_above_the_surface_it_is_the_free_dipole_with_one_weak_echo():
    # At a height of many wavelengths the echo is the plane-wave one: Fresnel's coefficient for air over permittivity 6.25, -3/7.
    omega = 2 * np.pi * np.array([3.0]) + 1j * DAMPING
    height = 1.0
    got = direct_wave(omega, SEPARATION, height, 6.25, 0.0, count=2400) - free_dipole(omega, SEPARATION)
    assert got / free_dipole(omega, 2 * height) == pytest.approx(-3 / 7, abs=0.03)


@pytest.mark.parametrize(("height", "permittivity"), [(0.002, 9.0), (0.004, 7.0), (0.015, 4.0)])
def test_number_of_nodes_suffices(height, permittivity):
    few, many = (direct_wave(OMEGA, SEPARATION, height, permittivity, 0.02, count) for count in (600, 4000))
    assert np.abs(few - many).max() < 1e-3 * np.abs(many).max()


def test_same_field_as_the_sample_project_computes_it():
    # Another derivation of the same field, with the other time convention and real frequencies.
    omega = 2 * np.pi * np.array([0.7, 1.5, 2.5])
    loss = 0.03 / (omega * 8.8541878128e-3)
    wanted = antenna.direct_wave(omega / 0.299792458, 7.0 - 1j * loss, SEPARATION, height_m=0.004)
    # Damped frequencies differ a little from real ones; two dampings lead to the limit.
    near, nearer = (direct_wave(omega + 1j * d, SEPARATION, 0.004, 7.0, 0.03, 4000) for d in (0.2, 0.1))
    got = np.conj(2 * nearer - near)
    ratio = got / wanted
    assert ratio == pytest.approx(np.full(3, ratio[0] * omega / omega[0]), rel=0.02)


def test_spectrum_comes_back_as_the_pulse():
    spectrum = Spectrum.over(6.0, 9.0)
    time = np.arange(-1.0, 2.0, 0.01)
    # The far field of a current goes with its derivative, i w in this convention.
    pulse = spectrum.to_time(1j * spectrum.omega * Pulse(1.5).current(spectrum.omega), time)
    assert pulse / pulse.max() == pytest.approx(ricker(time), abs=1e-3)
