"""What a drill sheet says, by hand."""

import numpy as np
import pytest
from obstacles import RULES, ground, line, pieces

from inslab.processing.penetrations.drill_sheet import GridAxis, axis_offsets, deepest_clear_m, nearest_items
from inslab.processing.penetrations.model import Confidence, Penetrations

AXES = [
    GridAxis("1", (0, 0), (0, 10)),
    GridAxis("2", (8, 10), (8, 0)),
    GridAxis("A", (0, 0), (10, 0)),
    GridAxis("B", (0, 7), (10, 7)),
]


@pytest.mark.parametrize(
    ("point", "expected"),
    [
        ((1.2, 0.4), [("A", 0.4, "+y"), ("1", 1.2, "+x")]),
        ((6.5, 6.0), [("B", 1.0, "-y"), ("2", 1.5, "-x")]),
        ((-0.3, 9.0), [("1", 0.3, "-x"), ("B", 2.0, "+y")]),
    ],
)
def test_offsets_from_the_two_nearest_axes_that_cross(point, expected):
    found = [(one.name, round(one.offset_m, 9), one.side) for one in axis_offsets(point, AXES)]
    assert found == expected


def test_a_slanting_axis_is_measured_square():
    slanting = GridAxis("S", (0, 0), (3, 4))
    # Distance of (1, 0) from the line 4x - 3y = 0: 4/5.
    assert axis_offsets((1, 0), [slanting])[0].offset_m == pytest.approx(0.8)


def test_fewer_axes():
    assert axis_offsets((1, 1), []) == []
    assert [one.name for one in axis_offsets((1, 1), AXES[:2])] == ["1"]


def test_depth_to_which_a_hole_is_clear():
    """Over a bar with its top at 100 mm: less 15 mm and 1.645 x 6.40 mm (4 mm and 5 mm of depth) = 74.5 mm, in steps of 5."""
    item = pieces(line("a", (-1, 0, 0.1), (1, 0, 0.1)))
    known = ground((-1, -1, 1, 1))
    hole = Penetrations.upright([[0, 0]], 0.02, 0.2, 0.003)
    assert deepest_clear_m(hole, item, known, RULES, Confidence()) == pytest.approx(0.07)
    aside = Penetrations.upright([[0, 0.3]], 0.02, 0.2, 0.003)
    assert deepest_clear_m(aside, item, known, RULES, Confidence()) == pytest.approx(0.2)
    outside = Penetrations.upright([[3, 0]], 0.02, 0.2, 0.003)
    assert deepest_clear_m(outside, item, known, RULES, Confidence()) == 0.0


def test_nearest_items():
    items = pieces(
        *(
            line(f"b{n}", (x, -1, 0.05 + n / 100), (x, 1, 0.05 + n / 100))
            for n, x in enumerate((0.15, -0.05, 0.1, 0.12))
        )
    )
    found = nearest_items(Penetrations.upright([[0, 0]], 0.02, 0.2, 0.003), items, Confidence())
    assert [one.item_id for one in found] == ["b1", "b2", "b3"]
    assert found[0].top_m == pytest.approx(0.06)
    assert found[0].distance_m == pytest.approx(0.05 - 0.01 - 0.0125, abs=1e-6)
    assert np.all(np.diff([one.distance_m for one in found]) > 0)
