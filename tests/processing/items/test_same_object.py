"""The same object in two computations: told by where it runs."""

import numpy as np
import pytest

from inslab.processing.items.same_object import KnownLines, beside

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
