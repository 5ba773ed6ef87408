"""Matching the direct wave, on waves that the sample project's antenna computes for known concrete."""

import numpy as np
import pytest
from synthetic import SEPARATION_M, held_line, ricker, scan_area

from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.speed.direct_wave import fit_direct_wave, refit_antenna
from inslab.sample_project import antenna
from inslab.sample_project.forward import Radar, to_traces

TIME_ZERO_NS, HEIGHT_M = 1.2, 0.004


def over_plain_concrete(permittivity, conductivity=0.02, frequency_ghz=1.5, shaping=lambda frequency_ghz: 1.0):
    """One line over a slab without anything in it, without any fault of the instrument; `shaping` changes the pulse."""
    radar = Radar()
    omega = 2 * np.pi * radar.frequency_ghz
    complex_permittivity = permittivity - 1j * conductivity / (omega * 8.8541878128e-3)
    wave = antenna.direct_wave(omega / 0.299792458, complex_permittivity, SEPARATION_M, HEIGHT_M)
    pulse = antenna.ricker_spectrum(radar.frequency_ghz, frequency_ghz)
    pulse = pulse * shaping(radar.frequency_ghz)
    traces = to_traces(np.tile(wave * pulse, (11, 1)), radar, TIME_ZERO_NS)
    return prepare_area(scan_area([held_line(traces, interval_ns=radar.interval_ns)]))


@pytest.mark.parametrize("permittivity", [5.5, 7.0, 9.0])
def test_concrete_and_antenna_come_out_of_it(permittivity):
    prepared = over_plain_concrete(permittivity)
    fit = fit_direct_wave(prepared)
    assert fit.permittivity == pytest.approx(permittivity, rel=0.02)
    assert fit.height_m == pytest.approx(HEIGHT_M, abs=0.0015)
    assert fit.pulse.peak_ghz == pytest.approx(1.5, rel=0.01)
    assert prepared.reference_ns - fit.lag_ns == pytest.approx(TIME_ZERO_NS, abs=0.008)
    assert fit.misfit < 1e-3


def test_another_frequency_than_stated_is_found():
    prepared = over_plain_concrete(7.0, frequency_ghz=1.9)
    assert prepared.area.centre_frequency_mhz == 1500
    fit = fit_direct_wave(prepared)
    assert fit.pulse.peak_ghz == pytest.approx(1.9, rel=0.03)
    assert fit.permittivity == pytest.approx(7.0, rel=0.06)


# Filters of textbooks on the Ricker pulse, and what they make of it: order and phase of a Gaussian's derivative. A time factor of
# exp(+i w t) holds here.
SHAPED = {
    "differentiated once": (lambda f: 1j * f / 1.5 * np.exp(-((f / 2.2) ** 2)), 3.0, 90.0),
    "differentiated twice": (lambda f: -((f / 1.5) ** 2) * np.exp(-((f / 2.2) ** 2)), 4.0, 180.0),
    "connected the other way round": (lambda f: -1.0, 2.0, 180.0),
}


@pytest.mark.parametrize("shaping", SHAPED)
def test_pulse_of_another_shape_is_found_and_costs_no_accuracy(shaping):
    response, order, phase = SHAPED[shaping]
    fit = fit_direct_wave(over_plain_concrete(7.0, shaping=response))
    assert fit.permittivity == pytest.approx(7.0, rel=0.04)
    assert fit.pulse.order == pytest.approx(order, abs=0.25)
    away = (np.degrees(fit.pulse.phase_rad) - phase + 180) % 360 - 180
    assert abs(away) < 12.0
    assert fit.misfit < 1e-3


def test_pulse_that_is_nearly_a_ricker_is_taken_for_one_and_told_by_its_misfit():
    # An RC filter with its corner at the pulse's peak. Fitting it too would cost more accuracy on slabs with bars than it brings.
    fit = fit_direct_wave(over_plain_concrete(7.0, shaping=lambda f: 1 / (1 + 1j * f / 1.5)))
    assert fit.pulse.is_ricker
    assert fit.penalty > 1.1


def test_antenna_is_fitted_again_for_a_given_permittivity():
    prepared = over_plain_concrete(7.0, shaping=SHAPED["differentiated once"][0])
    direct = fit_direct_wave(prepared)
    again = refit_antenna(prepared, direct, direct.permittivity)
    assert again.lag_ns == pytest.approx(direct.lag_ns, abs=0.003)
    off = refit_antenna(prepared, direct, 1.2 * direct.permittivity)
    assert off.permittivity == 1.2 * direct.permittivity
    assert off.misfit > again.misfit


def test_pulse_that_no_antenna_over_concrete_makes_is_told_by_its_misfit():
    time = np.arange(640) * 0.015 - 1.5
    # Two bursts, half a period apart.
    shape = ricker(time) - 0.9 * ricker(time - 0.33) + 0.8 * ricker(time + 0.4)
    prepared = prepare_area(scan_area([held_line(np.tile(shape, (11, 1)))]))
    fit = fit_direct_wave(prepared)
    assert fit.misfit > 0.01
    assert fit.penalty > 2.0
