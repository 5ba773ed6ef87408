"""The answer of the record in words: what is known, and above all what is not."""

import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.vocabulary.statuses import REFUTED, SUPERSEDED, VERIFIED
from inslab.processing.record.query import Answer, Question, ask
from inslab.processing.reports.record_answer import answer_page, answer_sentences

SQUARE = [(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0), (0.0, 0.0)]


def question(**values):
    return Question(**{"polygon": [np.array(SQUARE)], **values})


def item(name, status, **values):
    row = {"item_id": name, "status": status, "kind": "bar", "flag": None, "age_years": 2.0, "sigma_xy_m": 0.004}
    return {**row, "sigma_depth_m": 0.003, "verified_on": "2031-05-04", **values}


def unknown(why, area_m2, seen_to_m=None):
    return {"level": "L1", "surface": "top", "why": why, "seen_to_m": seen_to_m, "area_m2": area_m2, "geom": [SQUARE]}


def test_nothing_is_known():
    assert "all of it is unknown" in answer_sentences(Answer(question(), "2031-05-04"))[0]


def test_a_level_named_after_the_one_asked_for_is_named_as_left_out():
    levels = ["L1", "L10", "L2", "L2 soffit"]
    answer = Answer(question(level="L2"), "2031-05-04", [("L2", "top")], asked_m2=2.0, levels=levels)
    assert "Not asked for, and not in this answer: L2 soffit." in answer_sentences(answer)
    answer = Answer(question(level="L1"), "2031-05-04", [("L1", "top")], asked_m2=2.0, levels=levels)
    assert not any("Not asked for" in one for one in answer_sentences(answer))


def test_what_is_known_of_items():
    answer = Answer(question(), "2031-05-04", [("L1", "top")], asked_m2=2.0)
    answer.items = [
        item("I1", VERIFIED, depth_min_m=0.05, flag="Look again."),
        item("I2", "detected", depth_min_m=0.042, age_years=4.0),
        item("I3", "detected", depth_min_m=None, sigma_xy_m=0.012, age_years=None),
        item("I4", REFUTED, depth_min_m=0.01),
    ]
    answer.past = [item("I5", SUPERSEDED)]
    said = answer_sentences(answer)
    # The refuted one at 10 mm does not count as the shallowest.
    assert any("3 items are known" in one and "lies 42 mm deep" in one for one in said)
    assert "Verified by opening or drawing: I1 (2031-05-04)." in said
    assert any(
        one.startswith("2 were found by radar alone") and "12 mm in plan and 3 mm in depth" in one for one in said
    )
    assert "Opened and not found, still listed: I4." in said
    assert "No longer regarded as separate objects (superseded): I5." in said
    assert "What is known was seen 2.0 to 4.0 years before that day." in said
    assert "Check item I1: Look again." in said


def test_ages_below_a_year_are_said_in_days():
    answer = Answer(question(), "2031-05-04", [("L1", "top")], asked_m2=2.0)
    answer.items = [item("I1", "detected", depth_min_m=0.03, age_years=days / 365.25) for days in (24, 26)]
    assert "What is known was seen at most 26 days before that day." in answer_sentences(answer)


def test_no_item_is_not_clear():
    answer = Answer(question(), "2031-05-04", [("L1", "top")], asked_m2=2.0)
    answer.items = [item("I4", REFUTED, age_years=None)]
    said = answer_sentences(answer)
    assert "No item is known here. That is not to say that nothing is there." in said
    assert not any("years before" in one for one in said)


def test_ground_that_is_unknown_is_said_with_its_area():
    answer = Answer(question(depth_m=0.2), "2031-05-04", [("L1", "top")], asked_m2=2.0)
    answer.unknown = [
        unknown("never scanned", 0.5),
        unknown("scanned in one direction only", 0.25),
        unknown("not seen that deep", 0.125, 0.15),
    ]
    said = " ".join(answer_sentences(answer))
    assert "Never scanned, and therefore unknown, never clear: 0.50 m² of it." in said
    assert "can be missed: 0.25 m²." in said
    assert "Not seen down to 200 mm: 0.12 m²." in said
    answer.unknown = [unknown("never scanned", 2.0)]
    assert "None of it was ever scanned: all of it is unknown." in answer_sentences(answer)
    page = answer_page(answer, "Hall <1>")
    assert "never scanned" in page
    assert "<1>" not in page


def test_a_strip_without_width_is_refused():
    with pytest.raises(ProcessingError, match="The width along a line must be above zero"):
        ask(None, Question(line=[(0, 0), (1, 0)], width_m=0.0), "2031-05-04")
