"""The same object in two computations: told by where it runs."""

import numpy as np
import pytest
from scipy.special import erfc

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.model import Item
from inslab.processing.items.same_object import (
    ACROSS,
    DISAGREEING_SIGMAS,
    IN_DEPTH,
    Comparison,
    KnownLines,
    beside,
    compare,
    likeness,
    side_by_side,
)

LINE = np.array([[0.0, 0.0, 0.05], [1.0, 0.0, 0.05]])


def test_distance_and_share_of_a_parallel_line():
    share, distance = beside(LINE + [0, 0.003, 0.004], LINE)
    assert share == 1.0
    assert distance == pytest.approx(0.005)  # 3-4-5


def test_share_counts_length_and_not_vertices():
    """Three quarters of the line run beside the other one; its vertices are crowded into the rest."""
    crowded = np.column_stack([np.r_[0.0, 0.75, np.linspace(0.76, 1.0, 25)], np.zeros(27), np.full(27, 0.05)])
    other = np.array([[0.0, 0.0, 0.05], [0.738, 0.0, 0.05]])
    assert beside(crowded, other)[0] == pytest.approx(0.75, abs=0.02)
    assert beside(other, crowded)[0] == 1.0


def test_a_bent_line_is_measured_along_its_bends():
    angle = np.linspace(0, np.pi / 2, 20)
    arc = np.column_stack([np.cos(angle), np.sin(angle), np.full(20, 0.08)])
    share, distance = beside(1.01 * arc * [1, 1, 0] + [0, 0, 0.08], arc)
    assert share == 1.0
    assert distance == pytest.approx(0.01, abs=0.001)


def test_the_nearest_of_several_is_taken_and_a_stranger_is_none():
    known = KnownLines([LINE + [0, 0.010, 0], LINE + [0, 0.002, 0], LINE + [0, 0.002, 0.06], LINE + [0, 0.5, 0]])
    assert known.find_same(LINE, 0.003) == 1
    assert known.find_same(LINE[::-1], 0.003) == 1
    assert known.find_same(LINE + [0, 0.25, 0], 0.003) is None
    assert known.find_same(LINE + [0.5, 0.002, 0], 0.003) is None  # half of it is new
    assert KnownLines([]).find_same(LINE, 0.003) is None


def test_a_crossing_line_is_another_object():
    across = np.array([[0.5, -0.5, 0.05], [0.5, 0.5, 0.05]])
    assert KnownLines([across]).find_same(LINE, 0.010) is None


def test_a_vague_line_is_found_further_away():
    known = KnownLines([LINE + [0, 0.025, 0]])
    assert known.find_same(LINE, 0.002) is None
    assert known.find_same(LINE, 0.008) == 0


@pytest.mark.parametrize(
    ("sigmas", "turned_away"), [(ACROSS.sigmas, 0.001), (DISAGREEING_SIGMAS, 0.010), (IN_DEPTH.sigmas, 0.036)]
)
def test_gates_turn_away_as_many_true_pairs_as_the_module_says(sigmas, turned_away):
    """Two-sided quantiles of the normal distribution."""
    assert erfc(sigmas / np.sqrt(2.0)) == pytest.approx(turned_away, abs=0.0005)


def test_pairs_of_one_object_are_turned_away_at_most_as_often_as_both_gates_say():
    """Random offsets of 8 mm in each of 20,000 pairs, between the bounds of both gates: 0.1 and 3.6 per cent."""
    pairs = np.random.default_rng(1).normal(0.0, 0.008, (20_000, 2))
    refused = np.mean([not Comparison(across, deeper, 0.008, 0.008, 1.0).agrees for across, deeper in pairs])
    assert refused == pytest.approx(0.0367, abs=0.004)  # 1 - (1 - 0.001) (1 - 0.0357); three standard deviations


def test_a_gate_has_bounds_whatever_the_sigmas_are():
    assert ACROSS.limit_m(0.0) == IN_DEPTH.limit_m(0.001) == 0.012
    assert ACROSS.limit_m(0.006) == pytest.approx(0.01974)  # 3.29 times
    assert ACROSS.limit_m(1.0) == 0.040


def _item(name, vertices, sigma=0.003):
    return Item(name, (name,), np.array(vertices, float), dict.fromkeys(KINDS, 0.2), 0.9, sigma, sigma, 5)


def test_bent_items_are_compared_along_their_bends():
    angle = np.linspace(0, np.pi / 2, 20)
    arc = np.column_stack([np.cos(angle), np.sin(angle), np.full(20, 0.08)])
    one, other, far = _item("A", arc), _item("B", arc * [1.005, 1.005, 1.0]), _item("C", arc * [1.05, 1.05, 1.0])
    assert likeness(one, other) < 2.0
    assert likeness(one, far) is None


def test_an_item_that_ends_where_it_starts_is_compared_with_none():
    ring = _item("A", [(0, 0, 0.05), (0.1, 0, 0.05), (0, 0, 0.05)])
    assert compare(ring, _item("B", LINE)) is None
    assert not side_by_side(ring, _item("B", LINE))
    assert side_by_side(_item("A", LINE), _item("B", LINE + [0.5, 0.01, 0]))
    assert not side_by_side(_item("A", LINE), _item("B", LINE + [1.0, 0.01, 0]))
