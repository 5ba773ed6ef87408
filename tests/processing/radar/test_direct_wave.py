"""Matching the direct wave, on waves that the sample project's antenna computes for known concrete."""

import numpy as np
import pytest
from synthetic import SEPARATION_M, held_line, ricker, scan_area

from inslab.processing.radar.direct_wave import fit_direct_wave
from inslab.processing.radar.prepare import prepare_area
from inslab.sample_project import antenna
from inslab.sample_project.forward import Radar, to_traces

TIME_ZERO_NS, HEIGHT_M = 1.2, 0.004


def over_plain_concrete(permittivity, conductivity=0.02, frequency_ghz=1.5):
    """One line over a slab without anything in it, without any fault of the instrument."""
    radar = Radar()
    omega = 2 * np.pi * radar.frequency_ghz
    complex_permittivity = permittivity - 1j * conductivity / (omega * 8.8541878128e-3)
    wave = antenna.direct_wave(omega / 0.299792458, complex_permittivity, SEPARATION_M, HEIGHT_M)
    pulse = antenna.ricker_spectrum(radar.frequency_ghz, frequency_ghz)
    traces = to_traces(np.tile(wave * pulse, (11, 1)), radar, TIME_ZERO_NS)
    return prepare_area(scan_area([held_line(traces, interval_ns=radar.interval_ns)]))


@pytest.mark.parametrize("permittivity", [5.5, 7.0, 9.0])
def test_concrete_and_antenna_come_out_of_it(permittivity):
    prepared = over_plain_concrete(permittivity)
    fit = fit_direct_wave(prepared)
    assert fit.permittivity == pytest.approx(permittivity, rel=0.02)
    assert fit.height_m == pytest.approx(HEIGHT_M, abs=0.0015)
    assert fit.frequency_ghz == pytest.approx(1.5, rel=0.01)
    assert prepared.reference_ns - fit.lag_ns == pytest.approx(TIME_ZERO_NS, abs=0.008)
    assert fit.misfit < 1e-3


def test_another_frequency_than_stated_is_found():
    prepared = over_plain_concrete(7.0, frequency_ghz=1.9)
    assert prepared.area.centre_frequency_mhz == 1500
    fit = fit_direct_wave(prepared)
    assert fit.frequency_ghz == pytest.approx(1.9, rel=0.03)
    assert fit.permittivity == pytest.approx(7.0, rel=0.06)


def test_pulse_of_another_shape_is_told_by_its_misfit():
    time = np.arange(640) * 0.015 - 1.5
    # The slope of a Ricker pulse: no pulse of the antenna model has that shape.
    shape = -np.gradient(ricker(time), time)
    prepared = prepare_area(scan_area([held_line(np.tile(shape, (11, 1)))]))
    fit = fit_direct_wave(prepared)
    assert fit.misfit > 0.01
    assert fit.penalty > 2.0
