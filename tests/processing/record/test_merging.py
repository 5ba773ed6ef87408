"""Surveys merged into a record: one item a real object, nothing lost, and the same survey again changes nothing."""

import numpy as np
import pytest
from records import POINTS_OF_B, bar, mat, merge, rows, survey

from inslab.processing.common.errors import ProcessingError

FIRST, SECOND, THIRD = "2031-05-04", "2033-06-01", "2035-07-01"


def survey_a():
    return survey(mat(), FIRST)


def survey_b(**values):
    """Overlaps A in part and sees three of its bars, further to the right, with errors within its sigmas; and a new one."""
    bars = mat(3, y0=0.7, x=(1.5, 5.0), shift=(0.0, 0.003, 0.002), **values)
    bars.append(bar("A1-9", (1.5, 2.5), (5.0, 2.5), 0.08))
    return survey(bars, SECOND, (1.2, 0.2), (5.2, 3.2), POINTS_OF_B, survey_speed_m_ns=0.112)


def test_one_item_a_real_object_and_a_third_run_changes_nothing(store):
    report, changed = merge(store, survey_a())
    assert (report.is_new, len(report.new_items), changed.counts["items"]) == (True, 4, 4)
    report, changed = merge(store, survey_b())
    assert report.new_items == ["I5"]
    assert report.known_items == ["I2", "I3", "I4"]
    before = {table: rows(store, table) for table in ("items", "observations", "surveys", "changes", "revisions")}
    report, changed = merge(store, survey_a(), SECOND)
    assert report.is_same
    assert (changed.counts, changed.revision) == ({}, None)
    assert {table: rows(store, table) for table in before} == before
    assert len(before["items"]) == 5
    assert {row["recorded_on"] for row in before["revisions"].values()} == {FIRST, SECOND}


def test_two_observations_make_an_item_longer_and_surer(store):
    merge(store, survey_a())
    alone = rows(store, "items")["I2"]
    merge(store, survey_b())
    both = rows(store, "items")["I2"]
    assert both["observation_count"] == 2
    assert both["survey_ids"] == "S1,S2"
    x = np.array(both["geom"])[:, 0]
    assert (x.min(), x.max()) == (pytest.approx(0.3), pytest.approx(5.0))
    # JCGM 100:2008 (5.2.2) by hand: equal weights, nothing in common; sigma over the square root of two.
    assert both["sigma_xy_m"] == pytest.approx(alone["sigma_xy_m"] / np.sqrt(2), rel=1e-6)
    assert both["sigma_depth_m"] == pytest.approx(alone["sigma_depth_m"] / np.sqrt(2), rel=1e-6)
    assert both["depth_min_m"] == pytest.approx(0.050, abs=1e-6)  # where the first alone sees it
    assert both["depth_max_m"] == pytest.approx(0.052, abs=1e-6)  # where the second alone does
    assert both["first_seen_on"] == FIRST
    assert both["last_seen_on"] == SECOND
    assert not both["flag"]


def test_what_observations_share_does_not_average_out(store):
    merge(store, survey_a())
    content = survey(mat(), SECOND)  # the same control points, and a wave speed taken over
    merge(store, content)
    item = rows(store, "items")["I1"]
    assert item["sigma_xy_m"] == pytest.approx(np.hypot(0.002 / np.sqrt(2), 0.002), rel=1e-6)
    assert item["sigma_depth_m"] == pytest.approx(np.hypot(0.002 / np.sqrt(2), 0.003), rel=1e-6)
    assert item["kind_confidence"] == pytest.approx(0.9, abs=1e-3)


def test_history_tells_how_it_was_known(store):
    merge(store, survey_a())
    before = rows(store, "items")
    merge(store, survey_b())
    assert rows(store, "items", "2032-01-01") == before
    assert rows(store, "items", SECOND) == rows(store, "items")
    assert rows(store, "items", "2030-01-01") == {}
    changes = [row for row in rows(store, "changes").values() if row["row_id"] == "I2"]
    assert [row["action"] for row in changes] == ["insert", "update"]
    assert changes[1]["before"] == changes[0]["after"]


def test_what_a_new_survey_does_not_see_is_kept_and_noted(store):
    merge(store, survey_a())
    report, _ = merge(store, survey([], SECOND, (0.0, 0.0), (2.0, 0.95), POINTS_OF_B))
    items = rows(store, "items")
    assert len(items) == 4
    assert report.unseen == ["I1", "I2", "I3"]  # I4 lies beyond its ground
    assert items["I1"]["not_seen_count"] == 1
    assert "did not see it" in items["I1"]["flag"]
    assert items["I4"]["flag"] is None
    note = rows(store, "observations")["S2/not-seen/I1"]
    assert note["unseen_length_m"] == pytest.approx(1.7 - 1.645 * 0.002, abs=1e-3)


def test_what_lies_deeper_than_a_survey_reaches_is_not_missed(store):
    merge(store, survey([bar("A1-1", (0.5, 1.0), (3.0, 1.0), 0.18)], FIRST))
    content = survey([], SECOND)
    content.rows["coverage"][0]["survey_depth_m"] = 0.17
    report, _ = merge(store, content)
    assert report.unseen == []


def test_a_contradiction_in_place_is_told_at_both_items(store):
    merge(store, survey_a())
    merge(store, survey(mat(1, shift=(0.0, 0.030, 0.0)), SECOND, points=POINTS_OF_B))
    items = rows(store, "items")
    assert len(items) == 5
    assert "Item I5 beside it differs by 30 mm across" in items["I1"]["flag"]
    assert "Item I1 beside it differs by 30 mm across" in items["I5"]["flag"]


def test_a_contradiction_in_kind_is_told(store):
    merge(store, survey_a())
    merge(store, survey(mat(4, kind="plastic_conduit"), SECOND, points=POINTS_OF_B))
    item = rows(store, "items")["I1"]
    assert "Surveys disagree on its kind (S1: bar, S2: plastic conduit)" in item["flag"]
    assert item["kind_confidence"] < 0.6


def test_a_survey_processed_anew_replaces_its_own_observations(store):
    merge(store, survey_a())
    merge(store, survey_b())
    anew = survey(mat(3, shift=(0.0, 0.001, -0.001)), FIRST)
    for number, row in enumerate(anew.observations):
        row["survey_item_id"] = f"A1-{7 - number}"  # names of a run mean nothing
    report, _ = merge(store, anew, THIRD)
    assert not report.is_new
    assert report.new_items == []
    items, observations = rows(store, "items"), rows(store, "observations")
    assert len(items) == 5
    assert {
        row["item_id"] for row in observations.values() if row["survey_id"] == "S1" and row["outcome"] == "seen"
    } == {*("I1", "I2", "I3")}
    assert items["I4"]["survey_ids"] == "S2"
    assert any(row["action"] == "delete" for row in rows(store, "changes").values())


def test_an_item_that_no_survey_shows_any_more_is_superseded_not_deleted(store):
    merge(store, survey_a())
    merge(store, survey(mat(3), FIRST), SECOND)
    item = rows(store, "items")["I4"]
    assert item["status"] == "superseded"
    assert "no longer shows it" in item["flag"]
    merge(store, survey_a(), SECOND)  # and back again
    assert rows(store, "items")["I4"]["status"] == "detected"
    assert len(rows(store, "items")) == 4


def test_pieces_that_a_longer_view_joins_become_one_item(store):
    pieces = [bar("A1-1", (0.3, 1.0), (1.2, 1.0), 0.05), bar("A1-2", (2.0, 1.001), (3.4, 1.001), 0.051)]
    merge(store, survey(pieces, FIRST))
    report, _ = merge(store, survey([bar("A1-1", (0.3, 1.0), (3.6, 1.0), 0.05)], SECOND, points=POINTS_OF_B))
    assert report.united == [("I1", "I2")]
    items = rows(store, "items")
    assert items["I2"]["status"] == "superseded"
    assert items["I2"]["part_of"] == "I1"
    assert items["I1"]["observation_count"] == 2


def test_two_bars_of_one_survey_never_become_one(store):
    close = [bar("A1-1", (0.3, 1.0), (3.4, 1.0), 0.05), bar("A1-2", (0.3, 1.02), (3.4, 1.02), 0.05)]
    merge(store, survey(close, FIRST))
    merge(store, survey(close, SECOND, points=POINTS_OF_B))
    assert [row["observation_count"] for row in rows(store, "items").values()] == [2, 2]


def test_a_surveyors_edit_stays_marked(store):
    merge(store, survey(mat(2, source="surveyor"), FIRST))
    merge(store, survey(mat(2), SECOND, points=POINTS_OF_B))
    assert [row["source"] for row in rows(store, "items").values()] == ["surveyor", "surveyor"]


def test_an_area_without_a_place_is_recorded_and_known_again_by_name(store):
    lost = mat(1, local_geometry="[[0.1, 0.2, 0.05]]")
    lost[0]["geom"] = None
    content = survey(lost, FIRST, status="not positioned", geom=None)
    content.rows["coverage"].clear()
    merge(store, content)
    item = rows(store, "items")["I1"]
    assert item["geom"] is None
    assert "no position on the site grid" in item["flag"]
    lost[0]["confidence"] = 0.5
    merge(store, content)
    assert list(rows(store, "items")) == ["I1"]


def test_history_grows_forwards_only(store):
    merge(store, survey_b())
    with pytest.raises(ProcessingError, match="history only moves forwards"):
        merge(store, survey_a())
    with pytest.raises(ProcessingError, match="is not a date"):
        merge(store, survey_a(), "4 May")


def test_edits_from_outside_enter_history_and_notes_stay(store):
    merge(store, survey_a())
    with store.session(writing=True) as session:
        from inslab.processing.record.schema import ITEMS

        row = session.read(ITEMS)[0]
        session.update(ITEMS, dict(row, note="seen at the stair", kind="tendon"))
    _, changed = merge(store, survey_b())
    assert changed.outside == 1
    item = rows(store, "items")["I1"]
    assert item["note"] == "seen at the stair"
    assert item["kind"] == "bar"  # what follows from the surveys is not edited but verified
    edit = next(row for row in rows(store, "changes").values() if row["revision"] == "2")
    assert '"kind": "tendon"' in edit["after"]
    assert rows(store, "revisions")["2"]["what"] == "changed outside Inslab"
