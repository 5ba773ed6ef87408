"""Pairs of near boxes against every pair compared one by one."""

import itertools

import numpy as np

from inslab.processing.geometry.boxes import boxes_meet, boxes_of, near_pairs


def test_all_pairs_within_reach_and_no_others():
    random = np.random.default_rng(5)
    low = random.uniform(0, 10, (60, 2))
    high = low + random.uniform(0, 2, (60, 2))

    def gaps(i, j):
        return np.maximum(low[i] - high[j], low[j] - high[i])

    wanted = [(i, j) for i, j in itertools.combinations(range(60), 2) if np.all(gaps(i, j) <= 0.3)]
    assert list(near_pairs((low, high), 0.3)) == wanted
    assert 0 < len(wanted) < 60 * 59 / 2


def test_boxes_that_touch_at_the_reach_are_near_and_none_are_of_none():
    """0.25 and 0.5 are exact in binary: the gap is the reach to the last bit."""
    low = np.array([[0.0, 0.0], [0.75, 0.0], [1.5, 0.0]])
    high = low + [0.25, 1.0]
    assert list(near_pairs((low, high), 0.5)) == [(0, 1), (1, 2)]
    assert list(near_pairs(boxes_of([]), 0.5)) == []


def test_boxes_around_lines_meet_where_they_touch():
    line = [(0.0, 0.0, 9.0), (1.0, 1.0, 9.0)]
    assert boxes_meet(line, [(1.0, 1.0), (2.0, 0.5)])
    assert not boxes_meet(line, [(1.25, 0.0), (2.0, 1.0)])
    assert not boxes_meet([(0.0, 1.25), (1.0, 2.0)], line)
