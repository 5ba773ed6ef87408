"""Places for holes and patterns, against geometry by hand and trial of every place."""

import numpy as np
import pytest
from obstacles import RULES, ground, line, pieces

from inslab.processing.common.errors import ProcessingError
from inslab.processing.geometry.polygons import edges_of
from inslab.processing.penetrations.check import check_penetrations
from inslab.processing.penetrations.model import Penetrations
from inslab.processing.penetrations.placement import STEP_M, PlacementRules, place_pattern

BARS = pieces(*(line(f"b{n}", (x, -1, 0.05), (x, 1, 0.05)) for n, x in enumerate((-0.3, -0.1, 0.1, 0.3))))
FLOOR = ground((-1, -1, 1, 1))
# Between the middles: 6 mm + 12.5 mm + 15 mm + 1.645 x 4.24 mm.
NEEDED = 0.006 + 0.0125 + 0.015 + 1.6449 * np.hypot(0.003, 0.003)


def place(centres, wanted=PlacementRules(), known=FLOOR):
    return place_pattern(Penetrations.upright(centres, 0.012, 0.2, 0.003), BARS, known, RULES, wanted)


def test_a_hole_on_a_bar_moves_square_off_it():
    nearest = place([[0.105, 0.0]])[0]
    assert nearest.shift_m[1] == pytest.approx(0.0, abs=0.01)
    assert 0 <= nearest.distance_m - (NEEDED - 0.005) < 2 * STEP_M
    assert nearest.shift_m[0] > 0  # to the nearer side


def test_a_clear_hole_stays():
    assert place([[0.0, 0.0]])[0].distance_m == 0.0


def test_no_place_is_nearer():
    """All shifts on a raster of 1 mm, tried with the full check."""
    centre = np.array([0.07, 0.0])
    found = place([centre])[0].distance_m
    offsets = np.arange(-0.05, 0.0501, 0.001)
    shifts = np.stack(np.meshgrid(offsets, offsets), axis=-1).reshape(-1, 2)
    holes = Penetrations.upright(centre + shifts, 0.012, 0.2, 0.003)
    clear = [one.verdict == "clear" for one in check_penetrations(holes, BARS, FLOOR, RULES)]
    assert found <= np.hypot(*shifts[clear].T).min() + 2 * STEP_M


def test_a_pattern_stays_rigid():
    pattern = np.array([[0.06, -0.05], [0.16, -0.05], [0.16, 0.05], [0.06, 0.05]])
    for one in place(pattern):
        moved = one.holes.entry_m
        np.testing.assert_allclose(moved - moved[0], pattern - pattern[0], atol=1e-9)
        assert {verdict.verdict for verdict in one.verdicts} == {"clear"}


def test_a_turned_pattern_keeps_its_lengths():
    pair = np.array([[-0.09, 0.0], [0.09, 0.0]])  # on either side within 10 mm of a bar
    assert place(pair, PlacementRules(search_m=0.02)) == []
    found = place(pair, PlacementRules(search_m=0.02, turn_rad=np.pi / 2))
    assert found[0].turn_rad != 0
    for one in found:
        assert np.hypot(*(one.holes.entry_m[1] - one.holes.entry_m[0])) == pytest.approx(0.18)


def test_alternatives_are_a_choice():
    found = place([[0.1, 0.0]], PlacementRules(alternatives=4))
    assert len(found) == 4
    distances = [one.distance_m for one in found]
    assert distances == sorted(distances)
    for number, one in enumerate(found):
        assert all(np.hypot(*(one.shift_m - other.shift_m)) >= 0.02 for other in found[:number])


def test_the_allowed_area_is_kept_with_the_whole_rim():
    ring = np.array([(0.09, -1), (0.16, -1), (0.16, 1), (0.09, 1), (0.09, -1)], float)
    found = place([[0.095, 0.0]], PlacementRules(allowed_edges_m=edges_of([ring])))
    assert all(0.1 + NEEDED - 1e-3 <= one.holes.entry_m[0, 0] <= 0.154 for one in found)
    narrow = np.array([(0.09, -1), (0.11, -1), (0.11, 1), (0.09, 1), (0.09, -1)], float)
    assert place([[0.095, 0.0]], PlacementRules(allowed_edges_m=edges_of([narrow]))) == []


def test_what_is_unknown_is_no_place():
    assert place([[0.1, 0.0]], known=ground((-1, -1, 1, 1), directions=1)) == []


@pytest.mark.parametrize(
    "wanted", [PlacementRules(search_m=-1), PlacementRules(turn_step_rad=0), PlacementRules(alternatives=0)]
)
def test_numbers_that_cannot_be(wanted):
    with pytest.raises(ProcessingError):
        place([[0.0, 0.0]], wanted)
