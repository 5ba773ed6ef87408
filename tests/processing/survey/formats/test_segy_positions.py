"""When coordinates in SEG-Y trace headers are believed."""

import numpy as np
import pytest

from inslab.processing.survey.formats.segy_fields import trace_layout
from inslab.processing.survey.formats.segy_positions import header_positions

COUNT = 6
X = 20 * np.arange(COUNT)


def headers(scalar=-1000, units=1, **fields):
    block = np.zeros(COUNT, dtype=trace_layout(">", 5, 1)["header"])
    block["coordinate_scalar"], block["coordinate_units"] = scalar, units
    for name, values in fields.items():
        block[name] = values
    return block


def test_midpoint_of_source_and_group():
    positions, notes = header_positions(headers(source_x=X, group_x=X + 60, source_y=250, group_y=250), 0, False)
    np.testing.assert_allclose(positions, np.column_stack([(X + 30) / 1000, np.full(COUNT, 0.25)]))
    assert notes == ()


def test_cdp_first_from_revision_1_on_only():
    block = headers(source_x=X, group_x=X, cdp_x=X + 7)
    assert header_positions(block, 1, False)[0][0, 0] == pytest.approx(0.007)
    assert header_positions(block, 0, False)[0][0, 0] == 0.0


def test_source_alone_counts_and_group_alone_does_not():
    assert header_positions(headers(source_x=X), 2, False)[0][1, 0] == pytest.approx(0.02)
    assert header_positions(headers(group_x=X), 2, False) == (None, ())


@pytest.mark.parametrize("fields", [{}, {"source_x": 501351, "source_y": 5152489, "group_x": 501351}])
def test_zero_or_constant_says_nothing(fields):
    assert header_positions(headers(**fields), 2, False) == (None, ())


@pytest.mark.parametrize(
    ("scalar", "factor"),
    [(0, 1.0), (1, 1.0), (-1, 1.0), (10, 10.0), (10000, 1e4), (-10, 0.1), (-100, 0.01), (-10000, 1e-4)],
)
def test_known_scalars(scalar, factor):
    positions, notes = header_positions(headers(scalar, source_x=X), 2, False)
    np.testing.assert_allclose(positions[:, 0], X * factor)
    assert notes == ()


@pytest.mark.parametrize("scalar", [82, -3, 32767, -32768])
def test_nonsense_scalar_is_noted_and_not_used(scalar):
    positions, (note,) = header_positions(headers(scalar, source_x=X), 2, False)
    assert positions is None
    assert f"scalar in its trace headers is {scalar}" in note


def test_one_nonsense_scalar_among_good_ones():
    scalars = np.full(COUNT, -1000)
    scalars[4] = 82
    assert header_positions(headers(scalars, source_x=X), 2, False)[0] is None


@pytest.mark.parametrize("units", [2, 3, 4])
def test_angles_are_noted_and_not_used(units):
    positions, (note,) = header_positions(headers(units=units, source_x=X), 2, False)
    assert positions is None
    assert "angles" in note


def test_feet():
    """1 foot = 0.3048 m exactly (international foot, 1959)."""
    positions, _ = header_positions(headers(scalar=1, source_x=np.arange(COUNT)), 2, True)
    np.testing.assert_allclose(positions[:, 0], 0.3048 * np.arange(COUNT))


def test_whole_metres_on_a_short_line_are_too_coarse():
    positions, (note,) = header_positions(headers(scalar=1, source_x=[0, 0, 0, 0, 0, 1]), 2, False)
    assert positions is None
    assert "too coarse" in note


def test_one_trace_has_no_positions():
    assert header_positions(headers(source_x=X)[:1], 2, False) == (None, ())
