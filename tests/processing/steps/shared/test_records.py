"""What the steps about the record say, and the dates and grids that they refuse."""

from types import SimpleNamespace

import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.record.history import Changed
from inslab.processing.record.merging import MergeReport
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.steps.shared.records import day_of, newly_tied
from inslab.processing.steps.updaterecord import merge_sentences


def test_a_new_survey_in_words():
    report = MergeReport("S2", new_items=["I7"], known_items=["I1", "I2"], united=[("I1", "I3")])
    report.unseen, report.flagged = ["I4"], ["I7", "I1"]
    assert merge_sentences(report, Changed({}, "R5", outside=2)) == [
        "2 rows were changed outside Inslab since the last time; the history keeps them.",
        "Survey S2 is new in the record.",
        "1 item is new.",
        "2 known items were seen again.",
        "Item I3 turned out to be part of I1.",
        "Known before, within its reach and not seen (kept): I4.",
        "To be checked by a person (see the field flag): I7, I1.",
    ]


@pytest.mark.parametrize(("is_same", "words"), [(False, ["Survey S1 replaces its earlier result."]), (True, [])])
def test_a_survey_again_in_words(is_same, words):
    said = merge_sentences(MergeReport("S1", is_same=is_same, is_new=False), Changed({}, "R2"))
    assert said == [*words, "0 items are new.", "0 known items were seen again."]


def test_nothing_changed_in_words():
    (said,) = merge_sentences(MergeReport("S1", is_new=False), Changed({}, None))
    assert said == "The record already holds exactly this as survey S1; no row changed."


def test_the_day_that_counts():
    assert day_of("2031-05-04", "2031-01-01", "2032-01-01") == "2031-05-04"
    assert day_of("", "2031-01-01", "2032-01-01") == "2032-01-01"
    assert day_of("", "2031-01-01", "") == "2031-01-01"
    with pytest.raises(ProcessingError, match="states no date for its scans"):
        day_of("", None, "")


def test_surveys_of_two_grids_are_not_put_together():
    def session(known):
        return SimpleNamespace(read=lambda _: [{"name": "crs_wkt", "value": known}])

    plain = local_crs_wkt()
    assert newly_tied(session(plain), plain, "r") is None
    assert newly_tied(session(plain), "DERIVEDPROJCRS[...]", "r") == "DERIVEDPROJCRS[...]"
    with pytest.raises(ProcessingError, match="uses a different site grid from the record r"):
        newly_tied(session("DERIVEDPROJCRS[a]"), "DERIVEDPROJCRS[b]", "r")
