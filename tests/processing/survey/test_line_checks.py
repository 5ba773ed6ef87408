"""Whether a line's file fits its row in the table and the radar."""

from pathlib import Path

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats.line_header import LineHeader
from inslab.processing.survey.line_checks import check_sampling, check_spacing, choose_positions, compare_lines
from inslab.processing.survey.model import ScanArea, ScanLine

AREA = ScanArea("A1", "L1", "top", 0.06, 1500.0)


def line(line_id="x00", dipole_axis="across", traces=51, length=1.0, samples=512, interval=0.02):
    return ScanLine("A1", line_id, dipole_axis, Path("a.sgy"), (0.0, 0.0), (length, 0.0), traces, samples, interval)


@pytest.mark.parametrize("interval_ns", [0.005, 0.02, 0.3])
def test_intervals_of_radar_pass(interval_ns):
    check_sampling("a.sgy", LineHeader(51, 512, interval_ns, "bytes 3217-3218"), AREA)


@pytest.mark.parametrize(
    ("interval_ns", "words"),
    [
        (2.0, "longer than half a period at 1500 MHz, 0.333 ns"),  # a seismic file of 2000 microseconds
        (0.34, "longer than half a period"),
        (0.002, "less than two periods"),
    ],
)
def test_absurd_interval_says_what_was_read_and_how_to_override(interval_ns, words):
    with pytest.raises(SurveyError, match=words) as caught:
        check_sampling("a.sgy", LineHeader(51, 512, interval_ns, "bytes 3217-3218"), AREA)
    assert f"{interval_ns:g} ns was read from bytes 3217-3218" in str(caught.value)
    assert "overrides" in str(caught.value)


def test_window_that_looks_through_the_earth():
    with pytest.raises(SurveyError, match="more than 1000 ns"):
        check_sampling("a.sgy", LineHeader(51, 20000, 0.1, "bytes 3217-3218"), AREA)


def test_spacing():
    assert check_spacing("a.sgy", line(), AREA) == []
    (warning,) = check_spacing("a.sgy", line(traces=21), AREA)
    assert "50 mm apart, more than half a wavelength (33.3 mm)" in warning


@pytest.mark.parametrize(("traces", "length"), [(51, 0.001), (3, 1.0), (51, 1000.0)])
def test_trace_count_that_cannot_fit(traces, length):
    with pytest.raises(SurveyError, match=f"{traces} traces for a line of"):
        check_spacing("a.sgy", line(traces=traces, length=length), AREA)


def test_single_trace():
    with pytest.raises(SurveyError, match="at least two"):
        check_spacing("a.sgy", line(traces=1), AREA)


ALONG_X = np.column_stack([np.linspace(0.02, 0.97, 51), np.full(51, 0.25)])


def test_local_positions_are_used():
    positions, warnings = choose_positions(ALONG_X, (0.0, 0.25), (1.0, 0.25))
    assert positions is ALONG_X
    assert warnings == []


def test_no_positions_no_warning():
    assert choose_positions(None, (0.0, 0.0), (1.0, 0.0)) == (None, [])


def test_positions_of_another_grid_are_not_used():
    positions, (warning,) = choose_positions(ALONG_X + np.array([501351.0, 5152489.0]), (0.0, 0.25), (1.0, 0.25))
    assert positions is None
    assert "not used" in warning


@pytest.mark.parametrize("end", [(0.5, 0.25), (1.0, 0.5)])
def test_positions_that_end_elsewhere_are_not_used(end):
    positions, (warning,) = choose_positions(ALONG_X, (0.0, 0.25), end)
    assert positions is None
    assert "begin 0.02 m from" in warning


def test_positions_from_end_to_start_hint_at_the_direction():
    positions, (warning,) = choose_positions(ALONG_X[::-1], (0.0, 0.25), (1.0, 0.25))
    assert positions is None
    assert "check the direction" in warning


def test_positions_that_go_backwards_are_not_used():
    moved = ALONG_X.copy()
    moved[7, 0] = moved[5, 0]
    positions, (warning,) = choose_positions(moved, (0.0, 0.25), (1.0, 0.25))
    assert positions is None
    assert "backwards at trace 8" in warning


def test_lines_that_fit_together():
    assert compare_lines([line(), line(dipole_axis="along"), line("x01", interval=0.02 * (1 + 1e-15))]) == []


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (line(dipole_axis="along", traces=50), "50 traces, but x00 across, the same pass, has 51"),
        (line(dipole_axis="along", length=0.98), "start or end differs"),
        (line("x01", samples=500), "500 samples"),
        (line("x01", interval=0.03), "of 0.03 ns, but line x00 across"),
    ],
)
def test_lines_that_do_not_fit_together(other, words):
    ((name, text),) = compare_lines([line(), other])
    assert name == other.name
    assert words in text
