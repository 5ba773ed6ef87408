"""Kinds from evidence: the truth table of clear cases."""

import math

import pytest

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.kinds import Evidence, judge

NO_MAT = math.nan


def evidence(row=1, off=NO_MAT, slope=0.0, row_slope=0.0, sag=0.0, void=False, strength=2.0, passes=8):
    return Evidence(row, off, slope, row_slope, sag, void, strength, passes)


# What an engineer would call it (common practice, no source): polarity tells an air-filled pipe, rows of parallel items tell
# bars, a course that dips and sags while all else is flat tells a tendon, one that runs its own way a conduit.
CASES = [
    (evidence(row=5, off=0.5), "bar"),
    (evidence(row=3, off=1.0, strength=1.0), "bar"),
    (evidence(row=2, off=1.0), "bar"),
    (evidence(row=1, off=0.5, slope=0.05), "tendon"),
    (evidence(row=1, off=0.5, sag=0.02), "tendon"),
    (evidence(row=3, off=0.5, row_slope=0.01), "tendon"),
    (evidence(row=6, off=0.5, slope=0.015), "bar"),
    (evidence(row=1, off=25.0), "metal_conduit"),
    (evidence(row=2, off=25.0), "metal_conduit"),
    (evidence(row=1, off=1.0, void=True), "plastic_conduit"),
    (evidence(row=1, off=25.0, void=True), "plastic_conduit"),
    (evidence(row=1, off=NO_MAT, void=True), "plastic_conduit"),
]


@pytest.mark.parametrize(("seen", "kind"), CASES)
def test_clear_cases(seen, kind):
    probabilities, sentence = judge(seen)
    assert max(probabilities, key=probabilities.get) == kind
    assert sentence.startswith(kind.replace("_", " ").capitalize())
    assert sentence.endswith(".")


@pytest.mark.parametrize(("seen", "kind"), CASES)
def test_probabilities_sum_to_one_and_none_is_excluded(seen, kind):
    probabilities, _ = judge(seen)
    assert set(probabilities) == set(KINDS)
    assert sum(probabilities.values()) == pytest.approx(1.0, abs=3e-4)
    assert min(probabilities.values()) >= 0


def test_more_evidence_makes_surer():
    def of_bar(row):
        return judge(evidence(row=row, off=0.5))[0]["bar"]

    assert of_bar(1) < of_bar(2) < of_bar(3)
    void = judge(evidence(row=1, off=1.0, void=True))[0]["plastic_conduit"]
    assert void > judge(evidence(row=5, off=1.0, void=True))[0]["plastic_conduit"]


def test_seen_on_one_line_it_stays_unknown():
    probabilities, sentence = judge(evidence(row=1, passes=1))
    assert max(probabilities, key=probabilities.get) == "unknown"
    assert "seen on one line" in sentence


def test_lone_weak_echo_is_left_open():
    probabilities, sentence = judge(evidence(strength=1.0))
    assert probabilities["unknown"] > judge(evidence(row=5, off=0.5))[0]["unknown"]
    assert max(probabilities.values()) < 0.7
    assert "no mat was found" in sentence
    assert "weak" in sentence
