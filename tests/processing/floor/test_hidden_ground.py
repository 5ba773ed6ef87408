"""Dense mats and missing bars, by hand."""

from dataclasses import replace

import numpy as np
import pytest
from obstacles import RULES, ground, hidden, line, pieces

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.mats import find_mats
from inslab.processing.items.model import Item
from inslab.processing.penetrations.model import Confidence, Penetrations
from inslab.processing.penetrations.touched_unknown import HIDDEN, find_unknowns

WAVELENGTH = 0.08
BAR = {kind: float(kind == "bar") for kind in KINDS}


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


def test_what_is_missing_may_be_what_either_neighbour_is():
    """One neighbour of the gap is of unknown kind: its larger size and keep-out count, in whatever order the items come."""
    left = [x for number, x in enumerate(EVEN) if number != 5]
    items = bars(left)
    items[4] = replace(items[4], kind="unknown", rule=RULES["unknown"])
    strips = [hidden(pieces(*order), WAVELENGTH) for order in (items, items[::-1])]
    rule = RULES["unknown"]
    half = 0.15 * 0.15 + rule.largest_diameter_m / 2 + rule.keep_out_m
    for found in strips:
        assert len(found) == len(strips[0]) > 0
        for strip in found:
            assert np.ptp(strip.corners_m[:, 0]) / 2 == pytest.approx(half, abs=1e-6)
            assert strip.depth_m == pytest.approx(0.04 - rule.keep_out_m - 0.010)


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


def test_bars_of_two_layers_are_no_mat_with_missing_bars():
    """Even bars 45 mm below others of the same spacing: neither layer lacks one, nor does one fill the gap of the other."""
    even = 0.15 * np.arange(10)
    upper = [line(f"u{n}", (x, 0, 0.03), (x, 1, 0.03), sigma_depth_m=0.002) for n, x in enumerate(even)]
    lower = [line(f"l{n}", (x, 0, 0.075), (x, 1, 0.075), sigma_depth_m=0.002) for n, x in enumerate(even + 0.09)]
    assert not any("missed" in strip.reason for strip in hidden(pieces(*upper, *lower), 0.1))
    without = [strip.reason for strip in hidden(pieces(*upper[:5], *upper[6:], *lower), 0.1)]
    assert any("u4 and u6" in reason and "missed" in reason for reason in without)


@pytest.mark.parametrize(("turned_deg", "one_mat"), [(3.0, True), (8.0, False)])
def test_the_mats_that_may_lack_a_bar_are_those_that_are_reported(turned_deg, one_mat):
    """Every other bar turned: bars of one mat run within 5 degrees of one another there and here."""
    items = []
    for number, x in enumerate((0.0, 0.2, 0.4, 0.6, 1.0, 1.2, 1.4, 1.6)):
        lean = np.tan(np.radians(turned_deg)) * (number % 2)
        items.append(line(f"b{number}", (x, 0, 0.04), (x + 0.2 * lean, 0.2, 0.04)))
    assert any("missed" in strip.reason for strip in hidden(pieces(*items), WAVELENGTH)) == one_mat
    placed = [Item(one.item_id, ("A",), one.vertices_m, BAR, 0.9, 0.003, 0.004, 5) for one in items]
    assert any(len(mat.item_ids) == len(items) for mat in find_mats(placed)) == one_mat
