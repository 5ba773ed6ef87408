"""Chases against the shortest ways that geometry gives."""

import numpy as np
import pytest
from obstacles import RULES, ground, line, obstacle, pieces

from inslab.processing.common.errors import ProcessingError
from inslab.processing.geometry.polygons import edges_of
from inslab.processing.penetrations.chase import ChaseRules, route_chase
from inslab.processing.penetrations.clearance import RUNS_ON_M

FLOOR = ground((-1, -1, 1, 1))
CUT = ChaseRules(0.1, 0.02, 0.003, around_m=0.5)
# From the cut's middle to the item's: 10 mm + 12.5 mm + 15 mm + 1.645 x 4.24 mm.
NEEDED = 0.010 + 0.0125 + 0.015 + 1.6449 * np.hypot(0.003, 0.003)


def route(start, end, items, wanted=CUT, known=FLOOR):
    return route_chase(start, end, pieces(*items), known, RULES, wanted)


def test_straight_where_nothing_is_in_the_way():
    found = route((-0.4, 0), (0.4, 0.1), [line("far", (-1, 0.5, 0.05), (1, 0.5, 0.05))])
    assert found.length_m == pytest.approx(np.hypot(0.8, 0.1))
    assert len(found.vertices_m) == 2
    assert (found.crossed, found.too_close) == ((), ())


def test_around_the_end_of_an_item():
    """The shortest way round a half line with a distance: two tangents and an arc about its end."""
    tip = np.array([0.0, 0.1 + RUNS_ON_M])
    found = route((-0.3, 0), (0.3, 0), [line("a", (0, -1, 0.05), (0, 0.1, 0.05))])
    assert (found.crossed, found.too_close) == ((), ())
    reach = np.hypot(0.3, tip[1])
    tangent = np.sqrt(reach**2 - NEEDED**2)
    # The angle at the tip from a start to the top less that from the start to its tangent point.
    arc = np.pi - np.arccos(NEEDED / reach) - np.arctan2(0.3, tip[1])
    shortest = 2 * (tangent + NEEDED * arc)
    assert shortest - 1e-3 <= found.length_m < 1.08 * shortest  # corners instead of an arc, on a raster
    assert found.length_m > 0.6
    for one, other in zip(found.vertices_m[:-1], found.vertices_m[1:]):
        points = one + np.linspace(0, 1, 200)[:, None] * (other - one)
        to_item = np.hypot(points[:, 0], np.maximum(points[:, 1] - tip[1], 0))
        assert to_item.min() > NEEDED - 1e-4


def test_bends_have_a_price():
    """Dearer bends give no more of them."""
    items = [line("a", (-0.1, -1, 0.05), (-0.1, 0.02, 0.05)), line("b", (0.12, 1, 0.05), (0.12, -0.05, 0.05))]
    cheap = route((-0.4, 0), (0.4, 0), items, ChaseRules(0.1, 0.02, 0.003, bend_m=0.0, around_m=0.5))
    dear = route((-0.4, 0), (0.4, 0), items, ChaseRules(0.1, 0.02, 0.003, bend_m=0.5, around_m=0.5))
    assert len(dear.bends_deg) <= len(cheap.bends_deg)
    assert dear.length_m >= cheap.length_m - 0.02


def test_none_where_there_is_none():
    assert route((-0.3, 0), (0.3, 0), [line("a", (0, -1, 0.05), (0, 1, 0.05))]) is None


def test_crossing_where_it_is_allowed():
    items = [line("a", (0, -1, 0.05), (0, 1, 0.05))]
    crossing = ChaseRules(0.1, 0.02, 0.003, around_m=0.5, cross_kinds=("bar",))
    assert route((-0.3, 0), (0.3, 0), items, crossing).crossed == ("a",)
    gate = np.array([(-0.2, 0.2), (0.2, 0.2), (0.2, 0.3), (-0.2, 0.3), (-0.2, 0.2)])
    through = ChaseRules(0.1, 0.02, 0.003, around_m=0.5, cross_kinds=("bar",), crossing_edges_m=edges_of([gate]))
    found = route((-0.3, 0), (0.3, 0), items, through)
    at_bar = np.interp(0.0, found.vertices_m[:, 0], found.vertices_m[:, 1])
    assert 0.2 <= at_bar <= 0.3
    other = ChaseRules(0.1, 0.02, 0.003, around_m=0.5, cross_kinds=("tendon",))
    assert route((-0.3, 0), (0.3, 0), items, other) is None


def test_the_way_stays_on_known_ground():
    """A bent piece of ground: the straight line would leave it."""
    known = ground((-0.5, -0.5, 0.5, -0.3), (0.3, -0.5, 0.5, 0.5), (-0.5, 0.3, 0.5, 0.5))
    wide = ChaseRules(0.1, 0.02, 0.003, around_m=1.0)
    found = route((-0.4, -0.4), (-0.4, 0.4), [], wide, known)
    assert found.vertices_m[:, 0].max() > 0.3
    assert route((-0.4, -0.4), (-0.4, 0.4), [], wide, ground((-0.5, -0.5, 0.5, -0.3), (-0.5, 0.3, 0.5, 0.5))) is None


def test_an_end_that_may_not_be_cut():
    bar = obstacle("a", [(0, -1, 0.05), (0, 1, 0.05)])
    with pytest.raises(ProcessingError, match=r"cannot start there\. Hits"):
        route((0, 0), (0.3, 0), [bar])
    with pytest.raises(ProcessingError, match=r"cannot end there\. Unknown"):
        route((0.3, 0), (2, 0), [bar])
    with pytest.raises(ProcessingError, match="same place"):
        route((0.3, 0), (0.3, 0), [bar])


def test_too_large_a_search_is_refused():
    fine = ChaseRules(0.1, 0.02, 0.003, cell_m=0.001, around_m=0.5)
    with pytest.raises(ProcessingError, match="larger cell"):
        route((-0.4, 0), (0.4, 0), [line("a", (0, -1, 0.05), (0, 1, 0.05))], fine)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"depth_m": 0.0}, "above zero metres"),
        ({"width_m": 0.0}, "above zero metres"),
        ({"tolerance_m": -0.001}, "must not be negative"),
        ({"bend_m": -1.0}, "must not be negative"),
        ({"crossing_factor": 0.99}, "must not be cheaper than clear ground"),
    ],
)
def test_rules_that_make_no_cut(values, words):
    with pytest.raises(ProcessingError, match=words):
        ChaseRules(**{"depth_m": 0.05, "width_m": 0.03, **values}).check()
