"""Dense mats and missing bars, by hand."""

import numpy as np
import pytest
from obstacles import RULES, ground, hidden, line, pieces

from inslab.processing.penetrations.model import Confidence, Penetrations
from inslab.processing.penetrations.touched_unknown import HIDDEN, find_unknowns

WAVELENGTH = 0.08


def bars(places, top=0.04, **more):
    return [line(f"b{number}", (x, 0, top), (x, 1, top), **more) for number, x in enumerate(places)]


def kinds(holes, *items):
    known = ground((-1, -1, 4, 2), strips=hidden(pieces(*items), WAVELENGTH))
    reasons = find_unknowns(holes, known, RULES["unknown"], Confidence()).reasons
    return [reasons[i][0] if i in reasons else None for i in range(len(holes))]


def test_below_a_dense_mat():
    # Between two bars 60 mm apart: to 30 mm above them, to 100 mm below; and between bars 240 mm apart.
    holes = Penetrations.upright([[0.33, 0.5], [0.33, 0.5], [0.48, 0.5]], 0.008, [0.03, 0.10, 0.10], 0.001)
    assert kinds(holes, *bars((0.30, 0.36, 0.60))) == [None, HIDDEN, None]


@pytest.mark.parametrize(
    "other",
    [((0.36, 0, 0.12), (0.36, 1, 0.12)), ((0.2, 0.5, 0.04), (0.8, 0.5, 0.04)), ((0.40, 0, 0.04), (0.40, 1, 0.04))],
)
def test_no_dense_mat(other):
    """A bar in another layer, one that crosses, one more than a wavelength away."""
    assert hidden(pieces(*bars((0.3,)), line("other", *other)), WAVELENGTH) == []


EVEN = np.arange(0.15, 2.0, 0.15)


@pytest.mark.parametrize("lacking", [(5,), (5, 6)])
def test_an_even_mat_that_lacks_a_bar(lacking):
    left = [x for number, x in enumerate(EVEN) if number not in lacking]
    # At each missing bar, above it, and in the middle of a whole bay beside.
    holes = Penetrations.upright(
        [*([EVEN[n], 0.5] for n in lacking), [EVEN[lacking[0]], 0.5], [EVEN[2] + 0.075, 0.5]],
        0.012,
        [*(0.1 for _ in lacking), 0.01, 0.1],
        0.003,
    )
    assert kinds(holes, *bars(left)) == [*(HIDDEN for _ in lacking), None, None]


def test_a_whole_mat_hides_nothing():
    random = np.random.default_rng(1)
    assert hidden(pieces(*bars(EVEN + random.normal(0, 0.006, len(EVEN)))), WAVELENGTH) == []


def test_what_is_no_even_mat_lacks_nothing():
    assert hidden(pieces(*bars((0.1, 0.2, 0.5, 0.62, 1.0, 1.4, 1.5))), WAVELENGTH) == []
    assert hidden(pieces(*bars((0.15, 0.30, 0.60))), WAVELENGTH) == []  # too few to tell


def test_a_mat_with_two_spacings():
    """Bars at 0.15 m, then at 0.20 m: neither part lacks any."""
    places = np.r_[np.arange(0, 1.51, 0.15), np.arange(1.70, 3.2, 0.20)]
    assert hidden(pieces(*bars(places)), WAVELENGTH) == []


def test_an_item_of_another_kind_is_no_bar_of_the_mat():
    left = [x for number, x in enumerate(EVEN) if number != 5]
    conduit = line("c", (EVEN[5], 0, 0.05), (EVEN[5], 1, 0.05), kind="plastic_conduit")
    assert len(hidden(pieces(*bars(left), conduit), WAVELENGTH)) > 0


def test_no_items():
    assert hidden(pieces(), WAVELENGTH) == []
