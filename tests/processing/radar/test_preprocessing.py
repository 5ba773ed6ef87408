"""Alignment and levelling of lines whose shifts and amplitudes are known."""

import numpy as np
import pytest
from synthetic import FREQUENCY_GHZ, SHIFTS_NS, held_line, lines_of, recorded, ricker, scan_area

from inslab.processing.common.errors import Cancelled, ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.radar.preprocessing import band_pass, prepare_area, resample


def test_lines_are_aligned_to_two_picoseconds():
    prepared = prepare_area(scan_area(lines_of()))
    found = np.array([line.extremum_ns for line in prepared.lines])
    assert found - found.mean() == pytest.approx(np.array(SHIFTS_NS) - np.mean(SHIFTS_NS), abs=0.002)
    assert prepared.reference_ns == pytest.approx(1.5 + np.median(SHIFTS_NS), abs=0.003)
    # On the common axis the extremum of every line is at 0 and has size 1.
    origin = np.argmin(np.abs(prepared.time_ns))
    for line in prepared.lines:
        median = np.median(line.traces, axis=0)
        assert np.argmin(median) == pytest.approx(origin, abs=1)
        assert median.min() == pytest.approx(-1.0, abs=0.01)
    assert prepared.noise == pytest.approx(1e-3, rel=0.3)


def test_lines_are_levelled():
    amplitudes = [500.0, 800.0, 1000.0, 1300.0]
    lines = [held_line(recorded(0.01 * n, a), f"x{n}") for n, a in enumerate(amplitudes)]
    prepared = prepare_area(scan_area(lines))
    found = np.array([abs(line.amplitude) for line in prepared.lines])
    assert found / found[2] == pytest.approx(np.array(amplitudes) / 1000.0, rel=0.005)
    assert all(line.amplitude < 0 for line in prepared.lines)


def test_lines_of_different_interval_length_and_count_meet_on_one_axis():
    lines = [
        held_line(recorded(0.0), "x0"),
        held_line(recorded(0.02, count=17, interval_ns=0.011, samples=900), "x1", interval_ns=0.011),
        held_line(recorded(-0.03, count=80, interval_ns=0.020, samples=500), "x2", interval_ns=0.020),
    ]
    prepared = prepare_area(scan_area(lines))
    assert [line.traces.shape[0] for line in prepared.lines] == [41, 17, 80]
    assert {line.traces.shape[1] for line in prepared.lines} == {len(prepared.time_ns)}
    assert prepared.interval_ns <= 0.011 + 1e-12
    found = np.array([line.extremum_ns for line in prepared.lines])
    assert found - found[0] == pytest.approx([0.0, 0.02, -0.03], abs=0.002)
    reference = np.median(prepared.lines[0].traces, axis=0)
    early = (prepared.time_ns > -0.6) & (prepared.time_ns < 0.2)
    for line in prepared.lines[1:]:
        assert np.median(line.traces, axis=0)[early] == pytest.approx(reference[early], abs=0.02)


@pytest.mark.parametrize("count", [1, 2])
def test_very_short_lines_are_used(count):
    lines = [*lines_of(), held_line(recorded(0.04, count=count), "short")]
    prepared = prepare_area(scan_area(lines))
    short = prepared.lines[-1]
    assert short.traces.shape[0] == count
    assert short.extremum_ns - prepared.lines[0].extremum_ns == pytest.approx(0.04, abs=0.004)


def test_dead_line_is_left_out_and_named():
    dead = held_line(np.full((20, 600), 7.0), "dead")
    prepared = prepare_area(scan_area([*lines_of(), dead]))
    assert len(prepared.lines) == len(SHIFTS_NS)
    (finding,) = prepared.findings
    assert finding.severity == "error"
    assert "dead across" in finding.where
    assert "no signal" in finding.text


def test_record_that_starts_after_the_direct_wave_is_named():
    late = held_line(recorded(-1.45), "late")
    prepared = prepare_area(scan_area([*lines_of(), late]))
    assert "late.sgy" not in [line.line.path.name for line in prepared.lines]
    assert any("does not show the direct wave" in finding.text for finding in prepared.findings)


def test_area_without_a_usable_line_says_so():
    with pytest.raises(ProcessingError, match=r"A1.*no line shows a usable direct wave"):
        prepare_area(scan_area([held_line(np.zeros((5, 600)), "x0")]))


def test_line_of_another_setting_is_aligned_and_told():
    lines = [*lines_of(), held_line(recorded(1.0, amplitude=3000.0), "odd")]
    prepared = prepare_area(scan_area(lines))
    texts = [finding.text for finding in prepared.findings if "odd" in finding.where]
    assert len(texts) == 2
    assert "+0.98 ns" in texts[0]  # from the median of the six, 20 ps late
    assert "3.0 times" in texts[1]
    # Sought by correlation with the other lines, not only near their instant.
    assert prepared.lines[-1].extremum_ns - prepared.lines[0].extremum_ns == pytest.approx(1.0, abs=0.003)


def test_positive_direct_wave_keeps_its_sign():
    lines = [held_line(-recorded(shift, seed=n), f"x{n}") for n, shift in enumerate(SHIFTS_NS)]
    prepared = prepare_area(scan_area(lines))
    assert all(line.amplitude > 0 for line in prepared.lines)
    assert prepared.direct_wave.max() == pytest.approx(1.0, abs=1e-6)


def test_cancelling_stops_it():
    with pytest.raises(Cancelled):
        prepare_area(scan_area(lines_of()), Monitor(cancelled=lambda: True))


def test_resampling_keeps_a_band_limited_signal():
    record = np.arange(400) * 0.02
    instants = np.arange(-0.5, 9.0, 0.013)
    got = resample(ricker(record - 4.0)[None], 0.02, instants)[0]
    inside = (instants >= 0) & (instants <= record[-1])
    assert got[inside] == pytest.approx(ricker(instants[inside] - 4.0), abs=2e-4)
    assert not got[~inside].any()


def test_band_pass_has_no_phase_and_stops_what_lies_outside():
    time = np.arange(1200) * 0.01
    pulse = ricker(time - 6.0)
    passed = band_pass(pulse[None], 0.01, FREQUENCY_GHZ)[0]
    assert np.argmax(passed) == np.argmax(pulse)
    # Symmetric in, symmetric out.
    assert passed[400:600] == pytest.approx(passed[800:600:-1], abs=1e-4)
    middle = slice(300, 900)
    for frequency, gain in ((FREQUENCY_GHZ, 1.0), (0.05 * FREQUENCY_GHZ, 0.0), (6 * FREQUENCY_GHZ, 0.0)):
        wave = np.sin(2 * np.pi * frequency * time)
        left = band_pass(wave[None], 0.01, FREQUENCY_GHZ)[0][middle]
        assert np.abs(left).max() == pytest.approx(gain, abs=0.03)
