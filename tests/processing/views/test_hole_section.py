"""Sections: which way they run, what crosses them, and that the same section gives the same file."""

from dataclasses import replace

import numpy as np
import pytest
from obstacles import RULES, ground, line, pieces

from inslab.processing.floor.hidden_ground import HiddenStrip
from inslab.processing.penetrations.check import check_penetrations
from inslab.processing.penetrations.model import Confidence, Penetrations
from inslab.processing.views.hole_section import (
    crossings,
    direction_of_section,
    draw_section,
    known_depth,
    picture_names,
)

ITEMS = pieces(line("a", (-1, 0.08, 0.05), (1, 0.08, 0.05)), line("b", (0.2, -1, 0.09), (0.2, 1, 0.11)))
FLOOR = ground((-1, -1, 1, 1))
HOLE = replace(Penetrations.upright([[0.0, 0.0]], 0.05, 0.2, 0.003), ids=["P 1/ä"])
VERDICT = check_penetrations(HOLE, ITEMS, FLOOR, RULES)[0]


def test_the_section_is_square_to_the_governing_item():
    assert VERDICT.governing_item == "a"
    np.testing.assert_allclose(direction_of_section(HOLE, VERDICT, ITEMS), [0, 1], atol=1e-12)


def test_an_inclined_hole_is_cut_along_its_lean():
    columns = [np.array([value]) for value in (0.05, 0.2, 0.003, np.radians(90), np.radians(20))]
    leaning = Penetrations(["L"], np.zeros((1, 2)), *columns)
    np.testing.assert_allclose(direction_of_section(leaning, VERDICT, ITEMS), [1, 0], atol=1e-12)


def test_what_crosses_the_section():
    found = crossings(HOLE, np.array([1.0, 0.0]), ITEMS, 0.3)
    assert [number for number, _, _ in found] == [1]
    assert found[0][1] == pytest.approx(0.2)
    assert found[0][2] == pytest.approx(0.1)
    assert [n for n, _, _ in crossings(HOLE, np.array([0.0, 1.0]), ITEMS, 0.3)] == [0]


@pytest.mark.parametrize(("suffix", "start"), [(".svg", b"<?xml"), (".png", b"\x89PNG")])
def test_the_picture(tmp_path, suffix, start):
    path = tmp_path / f"one{suffix}"
    draw_section(path, HOLE, VERDICT, ITEMS, FLOOR, Confidence())
    again = tmp_path / f"two{suffix}"
    draw_section(again, HOLE, VERDICT, ITEMS, FLOOR, Confidence())
    assert path.read_bytes().startswith(start)
    assert path.read_bytes() == again.read_bytes()


def test_hidden_ground_is_drawn_as_unknown():
    """Below a dense mat nothing is known, though the ground was scanned; outside what was scanned nothing is known at all."""
    corners = np.array([[0.0, -0.5], [0.2, -0.5], [0.2, 0.5], [0.0, 0.5], [0.0, -0.5]])
    floor = replace(FLOOR, strips=(HiddenStrip(corners, 0.06, "below a dense mat"),))
    depth = known_depth(np.array([[0.1, 0.0], [0.5, 0.0], [3.0, 0.0]]), floor)
    assert depth[0] == 0.06
    assert depth[1] == known_depth(np.array([[0.5, 0.0]]), FLOOR)[0] > 0.06
    assert np.isnan(depth[2])


def test_names_of_pictures():
    assert picture_names(["P1", "p1", "a/b", "", "P1"]) == [
        "P1.svg",
        "p1-2.svg",
        "a_b.svg",
        "penetration.svg",
        "P1-3.svg",
    ]
