"""The map of clear space says the same as the check, hole by hole."""

import numpy as np
import pytest
from obstacles import RULES, ground, hidden, line, pieces

from inslab.processing.common.errors import ProcessingError
from inslab.processing.penetrations.check import check_penetrations
from inslab.processing.penetrations.clear_space import ClearSpace, fill_floor
from inslab.processing.penetrations.model import Confidence, Penetrations

ITEMS = [
    line("a", (0.0, 0.2, 0.05), (1.0, 0.25, 0.05)),
    line("slope", (0.3, 0.0, 0.06), (0.35, 1.0, 0.16), sigma_xy_m=0.006, sigma_depth_m=0.009),
    line("deep", (0.0, 0.7, 0.15), (1.0, 0.6, 0.15)),
    line("d1", (0.7, 0.3, 0.05), (0.7, 0.9, 0.05)),
    line("d2", (0.76, 0.3, 0.05), (0.76, 0.9, 0.05)),
]
PIECES = pieces(*ITEMS)
KNOWN = ground((0, 0, 1, 1), strips=hidden(PIECES, 0.08), sigma_xy_m=0.002)
AXIS = np.arange(0.0025, 1.0, 0.005)


@pytest.mark.parametrize("depth", [0.03, 0.055, 0.12, 0.25])
def test_same_as_the_check(depth):
    cells = ClearSpace(PIECES, KNOWN, RULES, depth, 0.003, 0.2).window(AXIS, AXIS[::-1])
    x, y = np.meshgrid(AXIS, AXIS[::-1])
    random = np.random.default_rng(4)
    some = random.choice(cells.size, 3000, replace=False)
    value, places = cells.ravel()[some], np.column_stack([x.ravel(), y.ravel()])[some]

    def clear(which, diameter):
        holes = Penetrations.upright(places[which], diameter, depth, 0.003)
        return np.array([one.verdict == "clear" for one in check_penetrations(holes, PIECES, KNOWN, RULES)])

    inner = (value > 0.003) & (value < 0.199)
    assert inner.sum() > 50
    assert clear(inner, value[inner] - 1e-4).all()
    # A millimetre of diameter more is too much; where a hole ends just above a sloping item the map is up to 5 mm careful.
    assert clear(inner, value[inner] + 1e-3).mean() < 0.03
    assert not clear(inner, value[inner] + 5e-3).any()
    assert not clear(np.isnan(value), 0.001).any()
    assert not clear(value == 0, 0.001).any()


def test_a_value_by_hand():
    """From a bar 100 mm away: less 12.5 mm for the largest bar, 15 mm and 1.645 x 4.24 mm, twice."""
    item = pieces(line("a", (-2, 0.5, 0.05), (3, 0.5, 0.05)))
    cells = ClearSpace(item, ground((-1, -1, 2, 2)), RULES, 0.2, 0.003, 0.3).window(np.array([0.5]), np.array([0.6]))
    assert cells[0, 0] == pytest.approx(2 * (0.1 - 0.0125 - 0.015 - 1.6449 * np.hypot(0.003, 0.003)), abs=1e-5)


def test_no_value_is_ever_large_because_nothing_is_known():
    cells = ClearSpace(pieces(), ground((0, 0, 0.3, 0.3)), RULES, 0.1, 0.003, 0.2).window(AXIS, AXIS)
    assert np.isnan(cells[:, AXIS > 0.3]).all()
    assert np.nanmax(cells) <= 0.2 + 1e-6


def test_no_area_was_scanned():
    space = ClearSpace(pieces(), ground(), RULES, 0.1, 0.003, 0.2)
    assert len(space.extent_m) == 0
    assert np.isnan(space.window(AXIS, AXIS)).all()


def test_tiles_make_the_same_floor():
    space = ClearSpace(PIECES, KNOWN, RULES, 0.12, 0.003, 0.2, Confidence())
    x, y = np.arange(0.0005, 1.0, 0.001), np.arange(0.9995, 0.5, -0.001)  # more than one tile
    found = np.full((len(y), len(x)), np.nan, np.float32)

    def write(window, row, column):
        found[row : row + window.shape[0], column : column + window.shape[1]] = window

    known, free = fill_floor(space, x, y, write)
    whole = space.window(x, y)
    np.testing.assert_array_equal(found, whole)
    assert (known, free) == (np.isfinite(whole).sum(), (whole > 0).sum())


@pytest.mark.parametrize("numbers", [(0.0, 0.003, 0.2), (0.1, -0.001, 0.2), (0.1, 0.003, 0.0)])
def test_numbers_that_cannot_be(numbers):
    with pytest.raises(ProcessingError, match="above zero"):
        ClearSpace(PIECES, KNOWN, RULES, *numbers)
