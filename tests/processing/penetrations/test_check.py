"""Verdicts, and how well the stated probability of touching holds."""

from dataclasses import replace

import numpy as np
import pytest
from obstacles import RULES, ground, line, pieces

from inslab.processing.common.errors import Cancelled, ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.penetrations import check
from inslab.processing.penetrations.check import check_penetrations
from inslab.processing.penetrations.model import (
    DEFAULT_RULES,
    Confidence,
    KindRule,
    Penetrations,
    check_rules,
    rule_for,
)

FLOOR = ground((-1, -1, 1, 1))
BAR = line("bar", (-1, 0, 0.05), (1, 0, 0.05))


def verdicts(holes, *items, known=FLOOR, confidence=Confidence()):
    return check_penetrations(holes, pieces(*items), known, RULES, confidence)


def at(y, depth=0.2, diameter=0.012):
    return Penetrations.upright([[0.0, y]], diameter, depth, 0.003)


@pytest.mark.parametrize(
    ("y", "expected"), [(0.0, "hits"), (0.012, "hits"), (0.025, "too_close"), (0.039, "too_close"), (0.042, "clear")]
)
def test_verdict_by_distance(y, expected):
    """6 mm + 12.5 mm + 15 mm + 1.645 x 4.24 mm = 40.5 mm between the middles is the limit of clear."""
    found = verdicts(at(y), BAR)[0]
    assert found.verdict == expected
    assert found.reason.endswith(".")
    assert found.governing_item == "bar"
    assert found.margin_m == pytest.approx(y - 0.006 - 0.0125 - 0.015, abs=1e-5)


def test_a_weak_item_still_counts():
    weak = line("weak", (-1, 0, 0.05), (1, 0, 0.05), confidence=0.05)
    found = verdicts(at(0.03), weak)[0]
    assert found.verdict == "too_close"
    assert found.touch_probability < 0.01


def test_unknown_comes_before_all_else_and_still_tells_of_the_item():
    found = verdicts(at(0.0, depth=0.3), BAR)[0]
    assert found.verdict == "unknown"
    assert found.touch_probability > 0.9
    assert "bar" in found.reason


def test_nothing_scanned_is_all_unknown():
    assert {one.verdict for one in verdicts(at(0.5), known=ground())} == {"unknown"}


def test_several_items_together():
    """Each of four is left one in a thousand; together they pass the limit."""
    around = [line("n", (-1, 1, 0.05), (1, 1, 0.05))]
    confidence = Confidence(0.5, 0.001)
    rule = KindRule(0.0, 0.0249, 0.025)
    gap = 0.006 + 0.0125 + 3.0902 * np.hypot(0.003, 0.003) + 1e-5
    around = [
        line("n", (-1, gap, 0.05), (1, gap, 0.05), rule=rule),
        line("s", (-1, -gap, 0.05), (1, -gap, 0.05), rule=rule),
    ]
    one = verdicts(at(0.0), around[0], confidence=confidence)[0]
    both = verdicts(at(0.0), *around, confidence=confidence)[0]
    assert (one.verdict, both.verdict) == ("clear", "too_close")
    assert both.touch_probability == pytest.approx(2 * one.touch_probability, rel=0.01)


def test_the_strictest_of_what_an_item_may_be():
    rule = rule_for({"bar": 0.9, "tendon": 0.07, "plastic_conduit": 0.01}, "bar", DEFAULT_RULES)
    assert rule.keep_out_m == DEFAULT_RULES["tendon"].keep_out_m
    assert rule.largest_diameter_m == DEFAULT_RULES["tendon"].largest_diameter_m
    assert rule.smallest_diameter_m == DEFAULT_RULES["bar"].smallest_diameter_m


@pytest.mark.parametrize(
    ("column", "value", "sentence"),
    [
        ("diameter_m", 0.0, "P1 needs a diameter"),
        ("depth_m", np.nan, "P1 needs a depth"),
        ("tolerance_m", -0.1, "P1 needs a tolerance"),
        ("tilt_rad", 1.5, "P1 needs a tilt"),
        ("entry_m", [[np.nan, 0.0]], "P1 has no position"),
    ],
)
def test_a_hole_that_cannot_be(column, value, sentence):
    wrong = replace(at(0.5), **{column: np.atleast_1d(value)})
    with pytest.raises(ProcessingError, match=sentence):
        verdicts(wrong, BAR)


def test_rules_that_cannot_be():
    for rule in (KindRule(-0.01, 0.01, 0.02), KindRule(0.01, 0.03, 0.02), KindRule(0.01, 0.0, 0.02)):
        with pytest.raises(ProcessingError, match="tendon"):
            check_rules({**RULES, "tendon": rule})
    with pytest.raises(ProcessingError, match="no keep-out"):
        check_rules({"bar": RULES["bar"]})


def test_cancelling():
    with pytest.raises(Cancelled):
        check_penetrations(at(0.5), pieces(BAR), FLOOR, RULES, monitor=Monitor(cancelled=lambda: True))


def one_size(item_id, y, **more):
    """Half of its five sizes' steps apart: 12, 16, 20, 24 and 28 mm stand for all, and its place is known to 0.2 mm."""
    rule = KindRule(more.pop("keep_out_m", 0.0), 0.01, 0.03)
    return line(item_id, (-1, y, 0.05), (1, y, 0.05), sigma_xy_m=0.0002, sigma_depth_m=0.0, rule=rule, **more)


def exact(y=0.0, diameter=0.012):
    return Penetrations.upright([[0.0, y]], diameter, 0.2, 0.0)


def test_it_hits_from_one_half_on():
    """6 mm of the hole and up to 14 mm of the item: 17 mm apart 2 of 5 sizes touch, 15 mm apart 3 of 5 do."""
    below, above = (verdicts(exact(), one_size("a", y))[0] for y in (0.017, 0.015))
    assert (below.verdict, above.verdict) == ("too_close", "hits")
    assert (below.touch_probability, above.touch_probability) == pytest.approx((0.4, 0.6), abs=1e-6)
    assert above.reason == "Hits: it hits bar a with a probability of 60 per cent."


def test_touching_any_of_several_counts_each_with_its_confidence():
    """1 - (1 - 0.5 x 0.6) (1 - 0.25 x 0.4) = 0.37."""
    found = verdicts(exact(), one_size("a", 0.015, confidence=0.5), one_size("b", -0.017, confidence=0.25))[0]
    assert found.touch_probability == pytest.approx(0.37, abs=1e-6)
    assert found.verdict == "hits"


def test_what_is_hit_may_be_another_item_than_the_one_that_leaves_the_least():
    found = verdicts(exact(), one_size("far", 0.04, keep_out_m=0.5), one_size("near", 0.0))[0]
    assert (found.verdict, found.governing_item) == ("hits", "far")
    assert found.reason == "Hits: it hits bar near with a probability of 100 per cent."
    assert found.margin_m == pytest.approx(0.04 - 0.006 - 0.015 - 0.5, abs=1e-6)
    assert found.sigma_margin_m == pytest.approx(0.0002)


@pytest.mark.parametrize(
    ("hole", "items", "known", "reason"),
    [
        (at(0.0305), [BAR], FLOOR, "Too close: bar bar is 12 ± 4 mm away, which does not satisfy the keep-out distance of 15 mm "
         "with 95 per cent confidence."),
        (at(0.0505), [BAR], FLOOR, "Clear: the nearest item, bar bar, is 32 ± 4 mm away (keep-out distance 15 mm)."),
        (at(0.5), [BAR], FLOOR, "Clear: no item is known within 200 mm of its rim, and the ground was scanned."),
        (at(0.5), [], FLOOR, "Clear: no item is known within 200 mm of its rim, and the ground was scanned."),
    ],
)  # fmt: skip
def test_reasons_in_words(hole, items, known, reason):
    found = verdicts(hole, *items, known=known)[0]
    assert found.reason == reason
    assert (found.governing_item is None) == ("no item" in reason)


def test_unknown_in_words():
    outside = ground((5, 5, 6, 6))
    with_item = verdicts(at(0.0505), BAR, known=outside)[0]
    assert with_item.verdict == "unknown"
    assert with_item.governing_item == "bar"
    assert with_item.margin_m == pytest.approx(0.0505 - 0.006 - 0.0125 - 0.015, abs=1e-5)
    assert with_item.reason == (
        "Unknown: it lies outside what was scanned; of what is known, the nearest item, bar bar, is 32 ± 4 mm away (keep-out "
        "distance 15 mm)."
    )
    without = verdicts(at(0.5), BAR, known=outside)[0]
    assert (without.verdict, without.governing_item, without.margin_m, without.sigma_margin_m) == ("unknown",) + (
        None,
    ) * 3
    assert without.touch_probability == 0.0
    assert without.reason.endswith("; no item is known within 200 mm of its rim.")


def test_many_small_chances_together_are_too_close():
    confidence = Confidence(0.5, 0.001)
    rule = KindRule(0.0, 0.0249, 0.025)
    gap = 0.006 + 0.0125 + 3.0902 * np.hypot(0.003, 0.003) + 1e-5
    around = [line(str(y), (-1, y, 0.05), (1, y, 0.05), rule=rule) for y in (gap, -gap)]
    found = verdicts(at(0.0), *around, confidence=confidence)[0]
    assert found.reason == (
        "Too close: the probability of touching any known item is 0.19 per cent, more than allowed."
    )


def test_any_number_of_holes_at_a_time(monkeypatch):
    """As one by one; progress runs from nothing to all."""
    holes = Penetrations.upright(np.column_stack([np.zeros(8), np.linspace(0, 1.2, 8)]), 0.012, 0.2, 0.003)
    single = [verdicts(holes.subset([number]), BAR)[0] for number in range(8)]
    assert {one.verdict for one in single} == {"hits", "clear", "unknown"}
    shares = []
    monkeypatch.setattr(check, "AT_A_TIME", 3)
    found = check_penetrations(holes, pieces(BAR), FLOOR, RULES, monitor=Monitor(progress=shares.append))
    assert found == single
    assert shares == pytest.approx([0.0, 3 / 8, 6 / 8, 1.0])
    assert check_penetrations(holes.subset([]), pieces(BAR), FLOOR, RULES) == []


@pytest.mark.parametrize(
    ("column", "good", "wrong", "sentence"),
    [
        ("diameter_m", 1e-6, np.inf, "P2 needs a diameter above zero metres"),
        ("diameter_m", 5.0, 0.0, "P2 needs a diameter"),
        ("depth_m", 1e-6, np.inf, "P2 needs a depth above zero metres"),
        ("depth_m", 5.0, 0.0, "P2 needs a depth"),
        ("tolerance_m", 0.0, np.inf, "P2 needs a tolerance of zero or more metres"),
        ("tilt_rad", 0.0, -1e-9, "P2 needs a tilt of at least 0 and below 80 degrees"),
        ("tilt_rad", np.radians(79.9), np.radians(80.0), "P2 needs a tilt"),
        ("azimuth_rad", -7.0, np.nan, "P2 needs an azimuth in degrees"),
        ("azimuth_rad", 7.0, np.inf, "P2 needs an azimuth in degrees"),
    ],
)
def test_the_limits_of_a_hole(column, good, wrong, sentence):
    holes = Penetrations.upright(np.zeros((3, 2)), 0.02, 0.1, 0.003)
    check.check_holes(replace(holes, **{column: np.full(3, good)}))
    with pytest.raises(ProcessingError, match=sentence):
        check.check_holes(replace(holes, **{column: np.array([good, wrong, wrong])}))


def test_the_limits_of_rules():
    for rule in (KindRule(0.0, 0.01, 0.01), KindRule(5.0, 1e-6, 5.0)):
        check_rules(dict.fromkeys(DEFAULT_RULES, rule))
    for rule, sentence in (
        (KindRule(-1e-9, 0.01, 0.01), "must be zero or more metres"),
        (KindRule(np.inf, 0.01, 0.01), "must be zero or more metres"),
        (KindRule(np.nan, 0.01, 0.01), "must be zero or more metres"),
        (KindRule(0.0, 0.01, np.inf), "above zero, the smallest one first"),
        (KindRule(0.0, -0.01, 0.01), "above zero, the smallest one first"),
        (KindRule(0.0, np.nan, 0.01), "above zero, the smallest one first"),
    ):
        with pytest.raises(ProcessingError, match=sentence):
            check_rules({**DEFAULT_RULES, "unknown": rule})


def test_a_kind_counts_from_one_in_twenty_on():
    rules = {"bar": KindRule(0.02, 0.01, 0.02), "tendon": KindRule(0.01, 0.005, 0.06)}
    assert rule_for({"bar": 0.95, "tendon": 0.05}, "bar", rules) == KindRule(0.02, 0.005, 0.06)
    assert rule_for({"bar": 0.951, "tendon": 0.049}, "bar", rules) == KindRule(0.02, 0.01, 0.02)
    assert rule_for({}, "tendon", rules) == rules["tendon"]  # what it is called counts always


def test_the_limits_of_confidence():
    for good in (Confidence(0.5, 0.5, 0.0), Confidence(0.999, 1e-9, 10.0)):
        good.check()
    for wrong in (Confidence(0.499), Confidence(1.0), Confidence(0.9, 0.0), Confidence(0.9, 0.51), Confidence(np.nan)):
        with pytest.raises(ProcessingError, match=r"at least 0\.5 and below 1"):
            wrong.check()
    for wrong in (-0.001, np.inf, np.nan):
        with pytest.raises(ProcessingError, match="zero or more metres"):
            Confidence(depth_tolerance_m=wrong).check()


def test_where_a_hole_leads():
    """Azimuths count clockwise from the site's y; a hole of 0.2 m that leans 60 degrees goes 0.1 m deep, and its rim of 50 mm
    radius 50 mm x sin 60 deeper."""
    holes = Penetrations.upright(np.zeros((3, 2)), 0.1, 0.2, 0.003)
    assert holes.ids == ["P1", "P2", "P3"]
    assert np.array_equal(holes.axis, [[0, 0, 1]] * 3)
    assert holes.reached_depth_m == pytest.approx([0.2] * 3)
    leaning = replace(holes, tilt_rad=np.full(3, np.radians(60)), azimuth_rad=np.radians([0.0, 90.0, 210.0]))
    s = np.sqrt(0.75)
    assert leaning.axis == pytest.approx(np.array([[0, s, 0.5], [s, 0, 0.5], [-s / 2, -0.75, 0.5]]))
    assert leaning.reached_depth_m == pytest.approx([0.1 + 0.05 * s] * 3)


def test_some_holes_of_many():
    holes = Penetrations.upright([[0, 0], [1, 2], [3, 4]], [0.1, 0.2, 0.3], [1, 2, 3], [4, 5, 6])
    for which in ([2, 0], np.array([True, False, True])):
        some = holes.subset(which)
        assert sorted(some.ids) == ["P1", "P3"]
        assert dict(zip(some.ids, some.diameter_m)) == {"P1": 0.1, "P3": 0.3}
        assert dict(zip(some.ids, some.depth_m)) == {"P1": 1, "P3": 3}
        assert dict(zip(some.ids, some.tolerance_m)) == {"P1": 4, "P3": 6}
    moved = holes.moved_to([[7, 8]] * 3)
    assert moved.entry_m.tolist() == [[7, 8]] * 3
    assert moved.ids == holes.ids


def test_stated_probabilities_come_true():
    """Objects drawn around the stated items as their sigmas say, holes set out with their tolerance: in every bin of stated
    probability the share that touches must be the stated one, within four binomial standard errors."""
    random = np.random.default_rng(8)
    count = 20_000
    y = random.uniform(-0.05, 0.05, count)
    depth = random.uniform(0.03, 0.08, count)
    diameter = random.choice([0.008, 0.022, 0.052], count)
    holes = Penetrations.upright(np.column_stack([random.uniform(-0.5, 0.5, count), y]), diameter, depth, 0.004)
    stated = np.array([one.touch_probability for one in verdicts(holes, BAR)])
    true_y = random.normal(0.0, 0.003, count) - y - random.normal(0.0, 0.004, count)
    radius = random.uniform(RULES["bar"].smallest_diameter_m, RULES["bar"].largest_diameter_m, count) / 2
    reached = 0.05 + random.normal(0, 0.004, count) < depth + random.normal(0, 0.005, count)
    touched = (np.abs(true_y) < diameter / 2 + radius) & reached
    edges = np.array([0.0, 0.001, 0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 0.99, 1.0001])
    for low, high in zip(edges[:-1], edges[1:]):
        own = (stated >= low) & (stated < high)
        error = np.sqrt(np.mean(stated[own] * (1 - stated[own])) / own.sum()) + 1e-4
        assert abs(stated[own].mean() - touched[own].mean()) < 4 * error + 0.01
    clear = np.array([one.verdict == "clear" for one in verdicts(holes, BAR)])
    assert clear.sum() > 500
    assert not touched[clear].any()


def test_each_of_many_holes_is_told_its_own_items():
    """Three bars in sight of each of four holes: the middle one, the first, the last, the middle one again governs."""
    bars = [line(name, (-1, y, 0.05), (1, y, 0.05)) for name, y in (("s", -0.1), ("m", 0.0), ("n", 0.1))]
    holes = Penetrations.upright([[0.0, y] for y in (0.02, -0.09, 0.095, -0.001)], 0.012, 0.2, 0.003)
    found = verdicts(holes, *bars)
    assert [one.governing_item for one in found] == ["m", "s", "n", "m"]
    assert [one.margin_m for one in found] == pytest.approx(
        [gap - 0.0335 for gap in (0.02, 0.01, 0.005, 0.001)], abs=1e-5
    )
    assert [one.reason.split(" with")[0] for one in found[1:]] == [f"Hits: it hits bar {name}" for name in "snm"]


def test_without_any_item_the_probability_is_nothing():
    found = verdicts(at(0.5))[0]
    assert (found.verdict, found.touch_probability) == ("clear", 0.0)
    outside = verdicts(at(0.5), known=ground((5, 5, 6, 6)))[0]
    assert outside.reason == "Unknown: it lies outside what was scanned; no item is known within 200 mm of its rim."


def test_the_hole_without_a_position_is_named():
    holes = Penetrations.upright([[0, 0], [0, 0], [0, np.nan], [0, 0]], 0.02, 0.1, 0.003)
    with pytest.raises(ProcessingError, match="Penetration P3 has no position"):
        check.check_holes(holes)


def test_large_distances_in_words():
    """In millimetres, to the last one."""
    floor = ground((-5, -5, 5, 5))
    wide = line("wide", (-1, 0, 0.05), (1, 0, 0.05), sigma_xy_m=0.5, rule=KindRule(0.6, 0.006, 0.025))
    near, far = (verdicts(at(y + 0.0185), wide, known=floor)[0] for y in (0.7, 2.0))
    assert near.reason.startswith(
        "Too close: bar wide is 700 ± 500 mm away, which does not satisfy the keep-out distance of 600 mm"
    )
    assert far.reason == "Clear: the nearest item, bar wide, is 2000 ± 500 mm away (keep-out distance 600 mm)."
    keep = line("keep", (-1, 0, 0.05), (1, 0, 0.05), rule=KindRule(0.985, 0.006, 0.025))
    # 985 mm and 1.645 x (2 x 5 + 5) mm is how far is looked.
    assert "within 1010 mm of its rim" in verdicts(at(2.0), keep, known=floor)[0].reason


def test_starting_values_do_not_change_unseen():
    """Keep-out, smallest and largest diameter, millimetres; people drill by them."""
    listed = {
        "bar": (25, 6, 25),
        "tendon": (75, 15, 60),
        "metal_conduit": (40, 15, 40),
        "plastic_conduit": (40, 15, 40),
        "unknown": (50, 6, 50),
    }
    assert {kind: KindRule(*(value / 1000 for value in row)) for kind, row in listed.items()} == dict(DEFAULT_RULES)


def test_an_upright_hole_leans_nowhere():
    hole = Penetrations.upright([0, 0], 0.1, 0.2, 0.003)
    assert (hole.azimuth_rad.tolist(), hole.tilt_rad.tolist()) == ([0.0], [0.0])
