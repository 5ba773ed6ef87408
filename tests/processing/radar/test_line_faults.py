"""Faults of the instrument along a line, put into traces whose clean version is known."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic import FREQUENCY_GHZ, INTERVAL_NS, held_line, lines_of, recorded, scan_area

from inslab.processing.radar.line_faults import Mending, clipped_samples, fill_dropouts, gain_drift
from inslab.processing.radar.line_groups import scattered_traces
from inslab.processing.radar.preprocessing import prepare_area

PLACES = np.linspace(0.0, 0.8, 41)
NOTHING = Mending(dropouts=False, clipping=False, gain_drift=False)


def prepared_with(traces, mending=Mending()):
    """The first of six lines holds these traces; its prepared version, and what was found on it."""
    lines = [held_line(traces, "x0", end=(0.8, 0.0)), *lines_of()[1:]]
    prepared = prepare_area(scan_area(lines), mending=mending)
    return prepared, [finding.text for finding in prepared.findings if "x0" in finding.where]


def scattered(prepared):
    return scattered_traces(prepared.lines[0], prepared.interval_ns, FREQUENCY_GHZ)


@pytest.fixture(scope="module")
def clean():
    return prepared_with(recorded(0.0))[0]


def error_against(clean, prepared, traces=slice(None)):
    """Largest difference of the scattered traces over the bar's echo, after the direct wave."""
    late = (clean.time_ns > 0.8) & (clean.time_ns < 5.0)
    difference = np.abs(scattered(prepared) - scattered(clean))[:, late]
    return difference[traces].max() / np.abs(scattered(clean))[:, late].max()


def test_clean_lines_are_left_alone(clean):
    assert not clean.findings
    untouched = prepared_with(recorded(0.0), NOTHING)[0]
    assert np.array_equal(clean.lines[0].traces, untouched.lines[0].traces)


def test_single_dropouts_are_filled_and_told(clean):
    traces = recorded(0.0)
    traces[[7, 23, 24]] = 25.0  # the offset alone
    mended, texts = prepared_with(traces)
    assert texts == ["3 of its 41 traces are dropouts; they were replaced by its median trace."]
    spoilt, silence = prepared_with(traces, NOTHING)
    assert not silence
    # The three lack their echo; beside them, and at the direct wave, nothing is left of the fault.
    others = np.setdiff1d(np.arange(41), [7, 23, 24])
    assert error_against(clean, mended, others) < 0.15
    early = np.abs(clean.time_ns) < 0.3
    assert np.abs(scattered(mended)[:, early]).max() < 0.03
    assert np.abs(scattered(spoilt)[:, early]).max() > 0.5


def test_a_long_gap_shows_nothing_and_is_told():
    traces = recorded(0.0)
    traces[10:20] = 25.0
    traces[0] = 25.0
    prepared, texts = prepared_with(traces)
    assert texts[0].startswith("11 of its 41 traces")
    assert "from 0.00 to 0.00 m and 0.20 to 0.38 m are missing: nothing is known there" in texts[1]
    gap = prepared.lines[0].traces[10:20]
    # No echo in it that changes along the line.
    assert np.ptp(gap, axis=0).max() == 0.0


def test_weak_but_living_traces_are_kept():
    traces = recorded(0.0)
    traces[5] = 25.0 + 0.4 * (traces[5] - 25.0)
    filled, texts = fill_dropouts(traces - 25.0, PLACES)
    assert not texts
    assert np.array_equal(filled, traces - 25.0)


def test_clipped_direct_wave_does_not_spoil_the_level(clean):
    whole = recorded(0.0)
    limit = 25.0 - 0.7 * 1000.0
    cut = np.maximum(whole, limit)
    assert clipped_samples(cut).sum() >= 3
    assert not clipped_samples(whole).any()
    prepared, _ = prepared_with(cut)
    amplitude = prepared.lines[0].amplitude
    assert amplitude == pytest.approx(clean.lines[0].amplitude, rel=0.03)
    assert prepared.lines[0].extremum_ns == pytest.approx(clean.lines[0].extremum_ns, abs=0.006)
    spoilt = prepared_with(cut, NOTHING)[0].lines[0]
    assert abs(spoilt.amplitude / clean.lines[0].amplitude - 1) > 0.1
    assert error_against(clean, prepared) < 0.1


def test_where_all_lines_are_clipped_they_are_still_aligned():
    lines = lines_of()
    lines = [replace(line, held=np.maximum(line.held, 25.0 - 700.0)) for line in lines]
    prepared = prepare_area(scan_area(lines))
    found = np.array([line.extremum_ns for line in prepared.lines])
    whole = np.array([line.extremum_ns for line in prepare_area(scan_area(lines_of())).lines])
    assert found - found.mean() == pytest.approx(whole - whole.mean(), abs=0.004)


def test_gain_drift_is_taken_out_and_told(clean):
    gain = np.exp(np.linspace(-0.25, 0.25, 41))
    prepared, texts = prepared_with(25.0 + gain[:, None] * (recorded(0.0) - 25.0))
    assert len(texts) == 1
    assert "gain drifts by 65 % along the line" in texts[0]  # e^0.5 = 1.65
    assert error_against(clean, prepared) < 0.05
    spoilt, _ = prepared_with(25.0 + gain[:, None] * (recorded(0.0) - 25.0), NOTHING)
    assert error_against(clean, spoilt) > 0.2


def test_bars_near_the_surface_are_no_drift():
    amplitudes = 1 + 0.06 * np.cos(2 * np.pi * PLACES / 0.15) + 0.02 * np.random.default_rng(2).normal(size=41)
    assert (gain_drift(amplitudes, PLACES) == 1.0).all()
    # A few traces with bad coupling neither.
    amplitudes[[3, 4, 30]] = 0.5
    assert (gain_drift(amplitudes, PLACES) == 1.0).all()


def test_wow_is_gone_after_the_band_pass(clean):
    """A slow decay after the direct wave, as strong as the bar's echo, different from trace to trace."""
    time = np.arange(600) * INTERVAL_NS - 1.5
    random = np.random.default_rng(8)
    decay = np.where(time > 0, (1 - np.exp(-np.maximum(time, 0) / 0.8)) * np.exp(-np.maximum(time, 0) / 4.0), 0.0)
    wow = 200.0 * random.uniform(0.7, 1.3, 41)[:, None] * decay
    prepared, texts = prepared_with(recorded(0.0) + wow)
    assert not texts
    assert error_against(clean, prepared) < 0.1


def test_ringing_is_gone_with_the_background(clean):
    """A decaying tone at the pulse's own frequency, the same in all traces, five times the bar's echo."""
    time = np.arange(600) * INTERVAL_NS - 1.5
    tone = np.where(time > 0.5, np.exp(-np.maximum(time - 0.5, 0) / 3.0), 0.0) * np.sin(
        2 * np.pi * FREQUENCY_GHZ * time
    )
    prepared, texts = prepared_with(recorded(0.0) + 1000.0 * tone)
    assert not texts
    assert error_against(clean, prepared) < 0.05


def test_a_line_without_any_direct_wave_is_not_mended():
    filled, texts = fill_dropouts(np.zeros((5, 100)), PLACES[:5])
    assert not texts
    assert not filled.any()
