"""Stretches of items without sightings, against hand values."""

import numpy as np
import pytest

from inslab.processing.floor.bridged import find_bridged

STRAIGHT = np.array([(0.0, 0.0, 0.05), (0.5, 0.0, 0.05), (1.0, 0.0, 0.07)])


def seen_at(*along):
    return np.array([(x, 0.002) for x in along])


def test_line_seen_throughout_has_none():
    assert find_bridged(STRAIGHT, seen_at(*np.arange(0, 1.01, 0.1))) == []


def test_what_no_line_saw_is_bridged_from_sighting_to_sighting():
    (stretch,) = find_bridged(STRAIGHT, seen_at(0.0, 0.1, 0.2, 0.3, 0.6, 0.7, 0.8, 0.9, 1.0))
    # From 0.3 to 0.6 m along, with the vertex at 0.5 m in it; the depth at 0.6 m lies a fifth of the way from 50 to 70 mm.
    assert stretch == pytest.approx(np.array([(0.3, 0, 0.05), (0.5, 0, 0.05), (0.6, 0, 0.054)]))


def test_gap_of_the_usual_length_is_none_even_where_lines_are_far_apart():
    assert find_bridged(STRAIGHT, seen_at(0.0, 0.25, 0.5, 0.75, 1.0)) == []


def test_item_on_two_directions_of_lines_counts_along_its_course():
    bent = np.array([(0.0, 0.0, 0.1), (0.4, 0.0, 0.1), (0.4, 0.4, 0.1)])
    places = np.array([(0.0, 0.0), (0.1, 0.0), (0.2, 0.0), (0.3, 0.0), (0.4, 0.2), (0.4, 0.3), (0.4, 0.4)])
    (stretch,) = find_bridged(bent, places)
    assert stretch[:, :2] == pytest.approx(np.array([(0.3, 0.0), (0.4, 0.0), (0.4, 0.2)]))


def test_drawn_by_hand_without_picks_is_no_bridge():
    assert find_bridged(STRAIGHT, np.zeros((0, 2))) == []
    assert find_bridged(STRAIGHT, seen_at(0.1, 0.9)) == []
