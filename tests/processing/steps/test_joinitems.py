"""inslab:joinitems from what the areas show: again after a changed fit, and what it says of areas that disagree."""

import editing
import numpy as np
import pytest
import stand_ins
from stand_ins import AREAS

from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import read_layer


@pytest.fixture
def detected(folder, tmp_path, monkeypatch):
    """survey.gpkg with items, and what stood in for detection."""
    calls = stand_ins.stand_in(monkeypatch)
    path = tmp_path / "survey.gpkg"
    read_survey_step(folder, path)
    detect_items_step(path)
    return path, calls


def found(path, layer):
    return [(None if at is None else np.asarray(at).round(6).tolist(), row) for at, row in read_layer(path, layer)]


def test_joining_again_changes_nothing(detected):
    path, _ = detected
    before = {name: found(path, name) for name in ("items", "picks", "coverage", "area_items", "findings", "seams")}
    result = join_items_step(path)
    assert {name: found(path, name) for name in before} == before
    assert {row["area_ids"] for _, row in before["items"]} == {"A1,A2", "S1", "W1", "LOST"}
    assert result.found.joined_as == {"A1-1": "A1-1", "A2-1": "A1-1", "S1-1": "S1-1", "W1-1": "W1-1"}
    picks = {row["area_item_id"]: row["item_id"] for _, row in found(path, "picks")}
    assert (picks["A2-1"], picks["LOST-1"]) == ("A1-1", "LOST-1")
    assert found(path, "run_log")[-1][1]["step"] == "join items"


def test_items_come_apart_and_together_with_the_fit(detected, folder):
    """A2 moved by 60 mm across its bar, more than the 40 mm within which two sightings can be one object."""
    path, _ = detected
    points = [
        row for area_id, (_, _, origin) in AREAS.items() if origin for row in stand_ins.control_points(area_id, origin)
    ]
    moved = [row for row in points if row[0] != "A2"] + stand_ins.control_points("A2", (10.3, 20.06))
    stand_ins.write_control_points(folder, moved)
    fit_areas_step(path, item_ties=False)
    join_items_step(path)
    lines = {row["area_ids"]: line for line, row in read_layer(path, "items")}
    assert set(lines) == {"A1", "A2", "S1", "W1", "LOST"}
    assert lines["A2"][:, 1] == pytest.approx(20.16)
    stand_ins.write_control_points(folder, points)
    fit_areas_step(path, item_ties=False)
    join_items_step(path)
    assert {row["area_ids"] for _, row in read_layer(path, "items")} == {"A1,A2", "S1", "W1", "LOST"}


def test_areas_that_disagree_are_flagged_once_and_not_averaged(detected):
    path, calls = detected
    calls.bars["A2"] = [((0.0, 0.1, 0.085), (0.4, 0.1, 0.085))]  # A1 sees it 25 to 35 mm higher
    calls.bars["A1"] = [((0.0, 0.1, 0.055), (0.55, 0.1, 0.055))]
    for step in (detect_items_step, join_items_step):
        step(path)
        rows = {row["area_ids"]: row for _, row in read_layer(path, "items")}
        assert "Item A2-1 beside it differs by 0 mm across and 30 mm in depth" in rows["A1"]["flag"]
        assert "Item A1-1 beside it" in rows["A2"]["flag"]
        assert rows["S1"]["flag"] is None
        said = [row["text"] for _, row in read_layer(path, "findings") if row["where_found"] == "joining of items"]
        assert len(said) == 1
        assert said[0].startswith("Item A1-1: Item A2-1 beside it differs")
    calls.bars["A2"] = [stand_ins.BAR]
    calls.bars["A1"] = [stand_ins.BAR]
    detect_items_step(path)
    assert not [row for _, row in read_layer(path, "findings") if row["where_found"] == "joining of items"]


def test_joining_needs_items(folder, tmp_path):
    read_survey_step(folder, tmp_path / "survey.gpkg")
    with pytest.raises(ProcessingError, match="no items yet; run 'Detect items'"):
        join_items_step(tmp_path / "survey.gpkg")


def test_a_surveyor_settles_a_disagreement(detected):
    path, calls = detected
    calls.bars["A2"] = [((0.0, 0.1, 0.085), (0.4, 0.1, 0.085))]
    calls.bars["A1"] = [((0.0, 0.1, 0.055), (0.55, 0.1, 0.055))]
    detect_items_step(path)
    editing.delete(path, "items", "A2-1")
    log = []
    join_items_step(path, Monitor(warn=log.append))
    rows = {row["area_ids"]: row for _, row in read_layer(path, "items")}
    assert "A2" not in rows
    assert rows["A1"]["flag"] is None
    assert not [row for _, row in read_layer(path, "findings") if row["where_found"] == "joining of items"]
    assert not [sentence for sentence in log if "beside it" in sentence]
