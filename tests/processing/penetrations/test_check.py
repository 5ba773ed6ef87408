"""Verdicts, and how well the stated probability of touching holds."""

import numpy as np
import pytest
from obstacles import RULES, ground, line, pieces

from inslab.processing.errors import Cancelled, ProcessingError
from inslab.processing.monitor import Monitor
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
    from dataclasses import replace

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
