"""Distances against shapely and dense sampling, probabilities against random draws."""

import numpy as np
import pytest
import shapely.geometry as sg
from obstacles import RULES, line, obstacle, pieces
from scipy.stats import norm

from inslab.processing.penetrations.clearance import RUNS_ON_M, find_meetings, search_distance_m
from inslab.processing.penetrations.model import Confidence, KindRule, Penetrations

LARGEST = RULES["bar"].largest_diameter_m / 2


def test_upright_holes_through_level_items_as_in_shapely():
    random = np.random.default_rng(3)
    vertices = np.column_stack(
        [np.cumsum(random.uniform(0.05, 0.3, 12)), random.uniform(0, 0.3, 12), np.full(12, 0.05)]
    )
    bent = obstacle("bent", vertices)
    ahead = [
        vertices[0] - RUNS_ON_M * unit(vertices[1] - vertices[0]),
        vertices[-1] + RUNS_ON_M * unit(vertices[-1] - vertices[-2]),
    ]
    drawn = sg.LineString(np.vstack([ahead[0], vertices, ahead[1]])[:, :2])
    centres = np.column_stack([random.uniform(0, 2, 300), random.uniform(-0.1, 0.4, 300)])
    diameters = random.uniform(0.008, 0.1, 300)
    holes = Penetrations.upright(centres, diameters, 0.2, 0.003)
    found = find_meetings(holes, pieces(bent), Confidence())
    expected = np.array([drawn.distance(sg.Point(*c)) for c in centres]) - diameters / 2 - LARGEST
    assert len(found.hole) > 200
    np.testing.assert_allclose(found.distance_m, expected[found.hole], atol=2e-5)
    assert set(np.flatnonzero(expected < 0.19)) <= set(found.hole)


def unit(vector):
    return vector / np.hypot(*vector[:2])


@pytest.mark.parametrize("seed", range(6))
def test_inclined_holes_and_sloping_items_by_dense_sampling(seed):
    """The distance of points sampled every 0.1 mm on the item's middle from the solid drilled cylinder."""
    random = np.random.default_rng(seed)
    start = np.array([-0.4, random.uniform(-0.1, 0.1), random.uniform(0.03, 0.2)])
    end = np.array([0.4, random.uniform(-0.1, 0.1), random.uniform(0.03, 0.2)])
    tilt, azimuth = np.radians(random.uniform(0, 50)), random.uniform(0, 2 * np.pi)
    diameter, length = random.uniform(0.01, 0.06), random.uniform(0.05, 0.2)
    hole = Penetrations(["h"], np.zeros((1, 2)), *(np.array([v]) for v in (diameter, length, 0.003, azimuth, tilt)))
    found = find_meetings(hole, pieces(line("a", start, end)), Confidence())
    points = start + np.linspace(0, 1, 9001)[:, None] * (end - start) + [0, 0, LARGEST]
    axis = np.array([np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)])
    along = points @ axis
    aside = np.linalg.norm(points - along[:, None] * axis, axis=1)
    outside = np.hypot(np.maximum(aside - diameter / 2, 0), np.maximum(along - length, 0))
    if outside.min() > 0:
        assert found.distance_m[0] == pytest.approx(outside.min() - LARGEST, abs=2e-5)
    else:
        assert found.distance_m[0] < -LARGEST


def test_below_a_hole_only_the_depth_counts():
    found = find_meetings(
        Penetrations.upright([0, 0], 0.05, 0.03, 0.003),
        pieces(line("a", (-1, 0.01, 0.07), (1, 0.01, 0.07))),
        Confidence(),
    )
    assert found.distance_m[0] == pytest.approx(0.04)
    # Depth of the item 4 mm, of drilling 5 mm: root of the sum of squares.
    assert found.sigma_m[0] == pytest.approx(np.hypot(0.004, 0.005))


def test_beside_a_hole_only_the_plan_counts():
    found = find_meetings(
        Penetrations.upright([0, 0], 0.05, 0.2, 0.002), pieces(line("a", (-1, 0.1, 0.07), (1, 0.1, 0.07))), Confidence()
    )
    assert found.distance_m[0] == pytest.approx(0.1 - 0.025 - LARGEST)
    assert found.sigma_m[0] == pytest.approx(np.hypot(0.003, 0.002))


def test_an_item_runs_on_beyond_the_end_that_was_found():
    """By 100 mm, so that both holes are 50 mm from it."""
    item = pieces(line("a", (0, 0, 0.05), (1, 0, 0.05)))
    holes = Penetrations.upright([[1.10, 0.05], [1.15, 0.0]], 0.01, 0.2, 0.003)
    found = find_meetings(holes, item, Confidence())
    np.testing.assert_allclose(found.distance_m, 0.05 - 0.005 - LARGEST, atol=1e-6)


@pytest.mark.parametrize(
    ("aside", "depth", "diameter", "sigma", "tolerance"),
    [
        (0.000, 0.20, 0.012, 0.004, 0.003),
        (0.015, 0.20, 0.012, 0.004, 0.003),
        (0.030, 0.20, 0.022, 0.008, 0.005),
        (0.020, 0.052, 0.030, 0.006, 0.002),  # the hole ends just below the item's top
        (0.060, 0.20, 0.102, 0.010, 0.000),
    ],
)
def test_probability_of_touching_by_random_draws(aside, depth, diameter, sigma, tolerance):
    """Half a million draws of place, depth and size; the error of a frequency is then below 0.0007 (1 sigma)."""
    top, sigma_depth, of_drilling = 0.05, 0.006, 0.005
    item = line("a", (-1, aside, top), (1, aside, top), sigma_xy_m=sigma, sigma_depth_m=sigma_depth)
    holes = Penetrations.upright([0, 0], diameter, depth, tolerance)
    found = find_meetings(holes, pieces(item), Confidence(depth_tolerance_m=of_drilling))
    random = np.random.default_rng(11)
    count = 500_000
    gap = np.abs(aside + random.normal(0, sigma, count) + random.normal(0, tolerance, count))
    radius = random.uniform(RULES["bar"].smallest_diameter_m, RULES["bar"].largest_diameter_m, count) / 2
    ends = depth + random.normal(0, of_drilling, count)
    reached = top + random.normal(0, sigma_depth, count) < ends
    share = np.mean((gap < diameter / 2 + radius) & reached)
    assert found.touch_probability[0] == pytest.approx(share, abs=0.003)


def test_distances_count_to_the_largest_size():
    """A smaller object under the same top lies inside the larger one, so that no size comes closer."""
    random = np.random.default_rng(5)
    for _ in range(20):
        depth, aside = random.uniform(0.02, 0.2), random.uniform(0.0, 0.1)
        distances = []
        for largest in (0.006, 0.012, 0.025, 0.06):
            item = line("a", (-1, aside, 0.08), (1, aside, 0.08), rule=KindRule(0.015, 0.006, largest))
            holes = Penetrations.upright([0, 0], 0.02, depth, 0.003)
            distances.append(find_meetings(holes, pieces(item), Confidence()).distance_m[0])
        assert np.all(np.diff(distances) <= 1e-6)


def test_what_must_be_left():
    """Keep-out and 1.645 sigma (one-sided 95 per cent), or 3.090 sigma (one in a thousand) where that is more: normal tables."""
    confidence = Confidence(0.95, 0.001)
    assert confidence.needed_m(0.015, 0.004) == pytest.approx(0.015 + 1.6449 * 0.004, abs=1e-6)
    assert confidence.needed_m(0.0, 0.004) == pytest.approx(3.0902 * 0.004, abs=1e-6)


def test_nothing_near_gives_nothing():
    holes = Penetrations.upright([[0, 0]], 0.02, 0.1, 0.003)
    assert len(find_meetings(holes, pieces(), Confidence()).hole) == 0
    assert len(find_meetings(holes, pieces(line("a", (5, 0, 0.05), (6, 0, 0.05))), Confidence()).hole) == 0


def test_an_item_is_cut_into_pieces_of_at_most_250_mm():
    """1.05 m with vertices on the way, which a straight line does not need, and 100 mm more at both ends."""
    cut = pieces(obstacle("a", [(0, 0, 0.05), (0.2, 0, 0.05), (0.21, 0, 0.05), (1.05, 0, 0.05)]))
    assert cut.start_m[:, 0] == pytest.approx([-0.10, 0.0, 0.21, 0.42, 0.63, 0.84, 1.05])
    assert cut.end_m[:, 0] == pytest.approx([0.0, 0.21, 0.42, 0.63, 0.84, 1.05, 1.15])
    assert np.all(cut.end_m[:, 1:] == [0, 0.05])
    assert np.array_equal(cut.owner, np.zeros(7))


@pytest.mark.parametrize(("off_m", "expected"), [(0.00019, 0.0), (0.00021, 0.00021), (0.03, 0.03)])
def test_a_vertex_within_a_fifth_of_a_millimetre_of_the_line_is_left_out(off_m, expected):
    for column in (1, 2):
        vertices = np.array([(0, 0, 0.05), (0.1, 0, 0.05), (0.2, 0, 0.05), (0.2001, 0, 0.05)])
        vertices[1, column] += off_m
        cut = pieces(obstacle("a", vertices))
        assert np.abs(cut.start_m[:, column] - (0, 0, 0.05)[column]).max() == pytest.approx(expected)


def test_an_item_that_comes_back_to_its_start_keeps_its_corners():
    ring = [(0, 0, 0.05), (0.2, 0, 0.05), (0.2, 0.2, 0.05), (0, 0.2, 0.05), (0, 0, 0.05)]
    cut = pieces(obstacle("ring", ring))
    assert cut.start_m[:, :2] == pytest.approx(np.array([(-0.1, 0), (0, 0), (0.2, 0), (0.2, 0.2), (0, 0.2), (0, 0)]))


def test_pieces_tell_whose_they_are_and_what_is_known_of_each():
    one = line("one", (0, 0, 0.05), (0.2, 0, 0.05), sigma_xy_m=0.001, sigma_depth_m=0.002, confidence=0.3)
    other = line("other", (0, 1, 0.05), (0.2, 1, 0.05), rule=KindRule(0.04, 0.01, 0.06))
    cut = pieces(one, other)
    assert cut.owner.tolist() == [0, 0, 0, 1, 1, 1]
    assert cut.sigma_xy_m.tolist() == [0.001, 0.003]
    assert cut.sigma_depth_m.tolist() == [0.002, 0.004]
    assert cut.confidence.tolist() == [0.3, 1.0]
    assert cut.keep_out_m.tolist() == [0.015, 0.04]
    assert cut.smallest_radius_m.tolist() == [0.003, 0.005]
    assert cut.largest_radius_m.tolist() == [LARGEST, 0.03]


def test_an_item_that_goes_straight_down_is_met():
    """It has no direction in plan to run on in."""
    riser = pieces(line("riser", (0, 0, 0.05), (0, 0, 0.15)))
    assert riser.start_m.tolist() == [[0, 0, 0.05]] * 2 + [[0, 0, 0.15]]
    found = find_meetings(Penetrations.upright([0.1, 0.0], 0.02, 0.2, 0.003), riser, Confidence())
    assert found.distance_m[0] == pytest.approx(0.1 - 0.01 - LARGEST, abs=1e-6)


def test_how_far_is_looked():
    """200 mm, or what must be kept: 300 mm and 1.6449 times 2 x 5 mm + 5 mm."""
    near, far = (line("a", (-1, 0, 0.05), (1, 0, 0.05), rule=KindRule(keep, 0.006, 0.025)) for keep in (0.015, 0.3))
    assert search_distance_m(pieces(), Confidence(), 0.003) == 0.2
    assert search_distance_m(pieces(near), Confidence(), 0.003) == 0.2
    assert search_distance_m(pieces(near, far), Confidence(), 0.003) == pytest.approx(0.3 + 1.644854 * 0.015, abs=1e-7)
    # Rims from 190 to 210 mm beside the largest bar.
    aside = 0.005 + LARGEST + np.array([0.19, 0.1999, 0.2001, 0.21])
    holes = Penetrations.upright(np.column_stack([np.zeros(4), aside]), 0.01, 0.2, 0.003)
    assert find_meetings(holes, pieces(near), Confidence()).hole.tolist() == [0, 1]
    assert find_meetings(holes, pieces(near, far), Confidence()).hole.tolist() == [0, 0, 1, 1, 2, 2, 3, 3]


def test_a_hole_that_is_set_out_badly_is_looked_at_farther():
    """A tendon 210 mm from the rim, setting out known to 0.1 m: 3.09 sigmas (0.1 %) are 309 mm, so that it is too close.

    Each hole is looked at by its own tolerance, whatever the others have.
    """
    tendon = line("t", (-1, 0, 0.05), (1, 0, 0.05), rule=KindRule(0.075, 0.015, 0.060))
    tolerance = np.array([0.1, 0.005])
    holes = Penetrations.upright([(0, 0.01 + 0.03 + 0.21)] * 2, 0.02, 0.2, tolerance)
    sigma = np.hypot(0.1, tendon.sigma_xy_m)
    looked_at = search_distance_m(pieces(tendon), Confidence(), tolerance)
    assert looked_at == pytest.approx([max(0.075 + 1.644854 * sigma, 3.090232 * sigma), 0.2], abs=1e-6)
    found = find_meetings(holes, pieces(tendon), Confidence())
    assert found.hole.tolist() == [0]
    assert found.slack_m[0] < 0
    assert found.touch_probability[0] > Confidence().touch_limit


@pytest.mark.parametrize("seed", range(3))
def test_every_item_near_a_long_leaning_hole_is_found(seed):
    """Against all points of all items, sampled every 2 mm; wide holes of up to 1.4 m that lean by up to 70 degrees."""
    random = np.random.default_rng(seed)
    count = 20
    tilt, azimuth = random.uniform(0, np.radians(70), count), random.uniform(0, 2 * np.pi, count)
    columns = (random.uniform(0.02, 0.5, count), random.uniform(0.3, 1.4, count), np.full(count, 0.003), azimuth, tilt)
    entry = np.array([300.0, 500.0]) + random.uniform(-1, 1, (count, 2))
    holes = Penetrations([f"P{n}" for n in range(count)], entry, *columns)
    rule = KindRule(0.015, 0.02, 0.12)
    middles = np.array([300.0, 500.0]) + random.uniform(-1.5, 1.5, (40, 2))
    ways = random.uniform(-0.15, 0.15, (40, 3)) * [1, 1, 0.2]
    ends = [(np.append(m, 0.2) - way, np.append(m, 0.2) + way) for m, way in zip(middles, ways)]
    # The same sigma aside and down, so that the closest piece is also the one that leaves the least.
    items = [line(str(n), *pair, rule=rule, sigma_depth_m=0.003) for n, pair in enumerate(ends)]
    found = find_meetings(holes, pieces(*items), Confidence(depth_tolerance_m=0.003))
    met = {(hole, item): distance for hole, item, distance in zip(found.hole, found.item, found.distance_m)}
    for number, (start, end) in enumerate(ends):
        parts = ((run_on(start, end), start), (start, end), (end, run_on(end, start)))
        points = np.vstack([a + np.linspace(0, 1, 201)[:, None] * (b - a) for a, b in parts]) + [0, 0, 0.06]
        for hole in range(count):
            from_entry = points - np.append(entry[hole], 0.0)
            along = from_entry @ holes.axis[hole]
            aside = np.linalg.norm(from_entry - along[:, None] * holes.axis[hole], axis=1) - columns[0][hole] / 2
            beyond = along - columns[1][hole]
            outside = np.hypot(np.maximum(aside, 0), np.maximum(beyond, 0))
            closest = int(np.argmin(outside))
            if along[closest] < 0:  # beside the hole's way on above the surface, where it is not drilled
                continue
            if outside[closest] - 0.06 < 0.199:
                assert (hole, number) in met
                if outside[closest] > 0:
                    assert met[hole, number] == pytest.approx(outside[closest] - 0.06, abs=1e-3)


def run_on(end, before):
    way = (end - before)[:2]
    return end + np.append(0.1 * way / np.hypot(*way), 0.0)


@pytest.mark.parametrize(
    ("depth", "expected"),
    [
        (0.5, np.hypot(0.003, 0.002)),  # in the middle of the hole: the way out is aside
        (0.2875, np.hypot(0.004, 0.005)),  # 22 mm above its end: the way out is down
        (0.328125, np.hypot(0.003, 0.002)),  # as far aside as down: both are right, and it is never nothing
    ],
)
def test_sigma_inside_a_hole_is_that_of_the_way_out(depth, expected):
    """Numbers that binary fractions hold, so that 62.5 mm aside and down are the same."""
    item = line("a", (-1, 0, 0.25), (1, 0, 0.25), rule=KindRule(0.015, 0.01, 0.03125))
    found = find_meetings(Penetrations.upright([0, 0], 0.125, depth, 0.002), pieces(item), Confidence())
    assert found.distance_m[0] == pytest.approx(max(-0.0625, 0.265625 - depth) - 0.015625, abs=1e-5)
    assert found.sigma_m[0] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("missing", [-0.01, 0.0, 0.004, 0.02])
def test_a_leaning_hole_that_ends_short_of_an_item(missing):
    """60 degrees: the top lies largest radius x cos 60 nearer along the hole than the middle, which the axis meets 50 mm plus
    `missing` beyond its end. It is wide, so that only the depth counts: the normal distribution at that many sigmas."""
    tilt, largest = np.radians(60), 0.1
    along = (0.05 + largest) / np.cos(tilt)
    item = line("a", (along * np.sin(tilt), -1, 0.05), (along * np.sin(tilt), 1, 0.05), rule=KindRule(0.0, 0.1, 0.2))
    length = along - largest * np.cos(tilt) - missing
    columns = (np.array([value]) for value in (0.2, length, 0.003, np.pi / 2, tilt))
    found = find_meetings(Penetrations(["h"], np.zeros((1, 2)), *columns), pieces(item), Confidence())
    assert found.touch_probability[0] == pytest.approx(norm.cdf(-missing / np.hypot(0.004, 0.005)), abs=1e-6)


def test_the_size_between_smallest_and_largest_is_unknown():
    """Five sizes of 12, 16, 20, 24 and 28 mm stand for all from 10 to 30 mm. With sigma 1 mm and the middles 16 mm apart, a hole
    of 12 mm touches those above 20 mm, half of that, and none below."""
    item = line("a", (-1, 0.016, 0.05), (1, 0.016, 0.05), sigma_xy_m=0.0002, rule=KindRule(0.0, 0.01, 0.03))
    found = find_meetings(Penetrations.upright([0, 0], 0.012, 0.4, 0.0), pieces(item), Confidence())
    assert found.touch_probability[0] == pytest.approx((0.0 + 0.0 + 0.5 + 1.0 + 1.0) / 5, abs=1e-6)


def test_of_all_pieces_the_closest_counts_once():
    """An item that turns back past the hole twice: one pair, with the smaller distance."""
    bent = obstacle("u", [(-0.5, 0.05, 0.05), (0.5, 0.05, 0.05), (0.5, -0.08, 0.05), (-0.5, -0.08, 0.05)])
    found = find_meetings(Penetrations.upright([[0, 0], [0, 0.01]], 0.02, 0.2, 0.003), pieces(bent), Confidence())
    assert found.hole.tolist() == [0, 1]
    assert found.item.tolist() == [0, 0]
    assert found.distance_m == pytest.approx([0.05 - 0.01 - LARGEST, 0.04 - 0.01 - LARGEST], abs=1e-6)


def test_pairs_come_by_hole_then_item():
    three = [line(str(n), (-1, y, 0.05), (1, y, 0.05)) for n, y in enumerate((0.05, -0.05, 0.1))]
    found = find_meetings(Penetrations.upright([[0.3, 0], [0, 0]], 0.02, 0.2, 0.003), pieces(*three), Confidence())
    assert found.hole.tolist() == [0, 0, 0, 1, 1, 1]
    assert found.item.tolist() == [0, 1, 2, 0, 1, 2]


def test_three_vertices_on_a_line_are_two():
    cut = pieces(obstacle("a", [(0, 0, 0.05), (0.2, 0, 0.05), (1.0, 0, 0.05)]))
    assert cut.start_m[:, 0] == pytest.approx([-0.1, 0.0, 0.25, 0.5, 0.75, 1.0])


@pytest.mark.parametrize("diameter", [0.012, 0.8])
def test_a_wide_item_is_found_where_its_near_end_is_just_within_reach(diameter):
    """A duct of up to 400 mm that runs away from the hole and ends 199 mm from its rim."""
    end = diameter / 2 + 0.2 + 0.199
    duct = pieces(line("duct", (end + 0.1, 0, 0.05), (end + 2.0, 0, 0.05), rule=KindRule(0.0, 0.3, 0.4)))
    found = find_meetings(Penetrations.upright([0, 0], diameter, 0.6, 0.003), duct, Confidence())
    assert found.distance_m == pytest.approx([0.199], abs=1e-6)


@pytest.mark.parametrize(("aside", "expected"), [(0.0, 1.0), (0.0109, 1.0), (0.0111, 0.0)])
def test_without_any_uncertainty_it_touches_or_does_not(aside, expected):
    """6 mm of the hole and 5 mm of the item."""
    item = line(
        "a", (-1, aside, 0.05), (1, aside, 0.05), sigma_xy_m=0.0, sigma_depth_m=0.0, rule=KindRule(0.0, 0.01, 0.01)
    )
    holes = Penetrations.upright([[0, 0], [0, 0]], 0.012, [0.2, 0.04], 0.0)
    found = find_meetings(holes, pieces(item), Confidence(depth_tolerance_m=0.0))
    assert found.touch_probability == pytest.approx([expected, 0.0])


def test_a_hairpin_is_found_by_its_bend():
    """Two pieces of 250 mm that run straight away from a bend 199 mm from the hole's rim: no nearer piece leads to them."""
    bend = 0.02 + 0.003 + 0.199
    item = obstacle(
        "u",
        [(bend + 0.25, 0.0003, 0.05), (bend, 0, 0.05), (bend + 0.25, -0.0003, 0.05)],
        rule=KindRule(0.0, 0.006, 0.006),
    )
    found = find_meetings(Penetrations.upright([0, 0], 0.04, 0.2, 0.003), pieces(item), Confidence())
    assert found.distance_m == pytest.approx([0.199], abs=1e-6)


@pytest.mark.parametrize("end", [1.0, -1.0])
def test_both_ends_of_a_leaning_hole_count(end):
    """1.6 m at 60 degrees go 1.386 m aside: items 190 mm beyond either end of that, in line with the hole, at its depth there."""
    tilt, length = np.radians(60), 1.6
    reached = length * np.sin(tilt)
    x, depth = (reached + 0.19, length * np.cos(tilt)) if end > 0 else (-0.19, 0.0)
    item = line("a", (x, -0.02, depth), (x, 0.02, depth), rule=KindRule(0.0, 0.001, 0.001))
    columns = (np.array([value]) for value in (0.02, length, 0.003, np.pi / 2, tilt))
    found = find_meetings(Penetrations(["h"], np.zeros((1, 2)), *columns), pieces(item), Confidence())
    assert found.item.tolist() == [0]
