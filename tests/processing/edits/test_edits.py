"""What a surveyor edits in `items` and `picks` survives every run, and what was computed in its place is not added again."""

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
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import read_layer

# Three bars along x in each area; A1 and A2 overlap, so that theirs are joined.
BARS = [((0.0, y, 0.05), (0.4, y, 0.05)) for y in (0.1, 0.2, 0.3)]
RUNS = {"detectitems": detect_items_step, "joinitems": join_items_step, "fitareas": fit_areas_step}
either_run = pytest.mark.parametrize("run", RUNS.values(), ids=RUNS)


@pytest.fixture
def detected(folder, tmp_path, monkeypatch):
    """survey.gpkg with three items through A1 and A2 (A1-1 to A1-3), and what stood in for detection."""
    calls = stand_ins.stand_in(monkeypatch)
    calls.bars = {area_id: list(BARS) for area_id in AREAS}
    path = tmp_path / "survey.gpkg"
    read_survey_step(folder, path)
    detect_items_step(path)
    return path, calls


def items(path):
    return {row["item_id"]: (line, row) for line, row in read_layer(path, "items")}


def table(path, name):
    return [row for _, row in read_layer(path, name)]


def said(path):
    return [row["text"] for row in table(path, "findings") if row["where_found"] == "hand edits"]


def content(path):
    """Everything that edits can change, in comparable form."""
    names = ("items", "picks", "dismissed", "last_written", "findings", "mats")
    return {name: repr(read_layer(path, name)) for name in names}


def items_at(path, area_ids, y):
    """Ids of items of these areas that cross the middle of A1's stretch within 5 mm of y (site)."""
    return [
        name
        for name, (line, row) in items(path).items()
        if row["area_ids"] == area_ids and abs(np.interp(10.2, line[:, 0], line[:, 1]) - y) < 0.005
    ]


def test_without_edits_nothing_is_anyones_but_the_program_s(detected):
    path, _ = detected
    assert {row["source"] for name in ("items", "picks") for row in table(path, name)} == {"computed"}
    for run in RUNS.values():
        run(
            path
        )  # fitting with the shared items places the areas a little otherwise than their control points alone do
        before = content(path)
        run(path)
        assert content(path) == before
    assert table(path, "dismissed") == []
    assert said(path) == []


@either_run
def test_a_moved_item_stays_where_it_was_put(detected, run):
    path, _ = detected
    line, row = items(path)["A1-2"]
    moved = line + [0, 0.03, 0]
    editing.change(path, "items", "A1-2", moved)
    log = []
    for result in (
        run(path, monitor=Monitor(log=log.append)),
        run(path),
    ):  # the second one finds it marked as the surveyor's
        found = items(path)
        assert len(found) == len(result.found.items) == 3 + 3 * 3
        assert found["A1-2"][0] == pytest.approx(moved)
        assert (found["A1-2"][1]["source"], found["A1-2"][1]["kind"]) == ("surveyor", "bar")
        assert found["A1-2"][1]["p_bar"] == row["p_bar"]
        assert {name for name, (_, row) in found.items() if row["source"] == "surveyor"} == {"A1-2"}
        assert [(row["row_id"], row["instead"]) for row in table(path, "dismissed")] == [("A1-2", "A1-2")]
        picks = [row for row in table(path, "picks") if row["area_item_id"] in ("A1-2", "A2-2")]
        assert {row["item_id"] for row in picks} == {"A1-2"}
    assert "Kept as the surveyor left them: 1 item (A1-2) and 0 picks." in log
    assert said(path) == ["Kept as the surveyor left them: 1 item (A1-2) and 0 picks."]


@either_run
def test_a_deleted_item_stays_deleted_until_its_row_is_taken_out_of_the_table(detected, run):
    path, _ = detected
    editing.delete(path, "items", "A1-2")
    for _ in range(2):
        run(path)
        assert set(items(path)) == {
            "A1-1",
            "A1-3",
            *(f"{area}-{n}" for area in ("S1", "W1", "LOST") for n in (1, 2, 3)),
        }
        assert [(row["layer"], row["row_id"], row["instead"]) for row in table(path, "dismissed")] == [
            ("items", "A1-2", None)
        ]
        assert {row["item_id"] for row in table(path, "picks") if row["area_item_id"] == "A2-2"} == {None}
    assert said(path) == [
        "Deleted by the surveyor and not brought back: 1 item (A1-2) and 0 picks (table 'dismissed')."
    ]
    editing.delete(path, "dismissed", "A1-2")
    run(path)
    assert "A1-2" in items(path)
    assert {row["item_id"] for row in table(path, "picks") if row["area_item_id"] == "A2-2"} == {"A1-2"}
    assert said(path) == []


def test_another_kind_is_certain(detected):
    path, _ = detected
    editing.change(path, "items", "A1-1", kind="tendon")
    join_items_step(path)
    line, row = items(path)["A1-1"]
    assert (row["kind"], row["kind_confidence"], row["p_tendon"], row["p_bar"]) == ("tendon", 1.0, 1.0, 0.0)
    assert row["source"] == "surveyor"
    assert len(items(path)) == 12
    assert line[0] == pytest.approx([10.0, 20.1, -0.05], abs=1e-6)


def test_a_drawn_item_gets_what_was_left_open(detected):
    """A line drawn flat, as QGIS does it, with its kind and depths in the form."""
    path, _ = detected
    editing.add(
        path,
        "items",
        [(10.05, 20.02, 0), (10.2, 20.05, 0), (10.35, 20.02, 0)],
        kind="plastic_conduit",
        depth_min_m=0.08,
        depth_max_m=0.10,
        sigma_depth_m=0.004,
    )
    join_items_step(path)
    line, row = items(path)["hand-h1"]
    assert line[:, 2] == pytest.approx(-0.09)
    assert (row["kind"], row["source"], row["status"]) == ("plastic_conduit", "surveyor", "detected")
    assert (row["level"], row["surface"], row["area_ids"]) == ("L1", "top", "A1,A2")
    assert (row["sigma_xy_m"], row["sigma_depth_m"]) == pytest.approx((0.010, 0.010))  # unstated; half of 80 to 100 mm
    assert row["confidence"] == 1.0
    before = content(path)
    join_items_step(path)
    assert content(path) == before


def test_what_is_computed_later_where_a_surveyor_drew_is_not_added(detected):
    path, calls = detected
    editing.add(path, "items", [(10.0, 20.25, -0.05), (10.7, 20.25, -0.05)], kind="bar", item_id="mine")
    join_items_step(path)
    for area_id in ("A1", "A2"):
        calls.bars[area_id] = [*BARS, ((0.0, 0.252, 0.055), (0.4, 0.252, 0.055))]
    detect_items_step(path)
    assert len(items(path)) == 13
    assert items_at(path, "A1,A2", 20.25) == ["mine"]
    assert {row["item_id"] for row in table(path, "picks") if row["area_item_id"] == "A1-4"} == {"mine"}


def test_an_item_without_any_depth_lies_at_the_surface_and_is_told(detected):
    path, _ = detected
    editing.add(path, "items", [(10.05, 20.02, 0), (10.35, 20.02, 0)], item_id="mine", kind="pipe")
    join_items_step(path)
    line, row = items(path)["mine"]
    assert line[:, 2] == pytest.approx(0.0)
    assert row["kind"] == "unknown"
    assert any("mine: it has no depth" in text for text in said(path))
    assert any("mine: its kind 'pipe' is not one of bar, tendon" in text for text in said(path))


def test_depths_changed_in_the_table_move_the_heights(detected):
    path, calls = detected
    calls.bars["S1"] = [((0.0, 0.1, 0.05), (0.4, 0.1, 0.07))]
    detect_items_step(path)
    editing.change(path, "items", "S1-1", depth_min_m=0.06, depth_max_m=0.10)
    join_items_step(path)
    line, row = items(path)["S1-1"]
    assert line[:, 2] == pytest.approx([-0.06, -0.10])  # 50 to 70 mm stretched to 60 to 100 mm
    assert (row["depth_min_m"], row["depth_max_m"]) == pytest.approx((0.06, 0.10))
    editing.change(path, "items", "S1-1", line + [0, 0, 0.01])
    join_items_step(path)
    line, row = items(path)["S1-1"]
    assert (row["depth_min_m"], row["depth_max_m"]) == pytest.approx((0.05, 0.09))


def test_a_vertex_put_in_without_a_height_lies_between_its_neighbours(detected):
    path, _ = detected
    line, _ = items(path)["S1-1"]
    bent = np.array([line[0], [*(line[0, :2] * 0.5 + line[-1, :2] * 0.5 + [0, 0.02]), 0.0], line[-1] - [0, 0, 0.02]])
    editing.change(path, "items", "S1-1", bent)
    join_items_step(path)
    assert items(path)["S1-1"][0][:, 2] == pytest.approx([-0.05, -0.06, -0.07])


def test_edits_move_with_their_area(detected, folder):
    """A1 and A2 are moved by 100 mm east and 50 mm north: so are what was drawn and what was deleted in them."""
    path, _ = detected
    line, _ = items(path)["A1-3"]
    editing.change(path, "items", "A1-3", line + [0, 0.03, 0])
    editing.delete(path, "items", "A1-1")
    editing.delete(path, "items", "W1-1")
    moved = {"A1": (10.1, 20.05), "A2": (10.4, 20.05), "S1": (10.4, 20.4), "W1": (10.0, 20.0)}
    points = [row for area_id, origin in moved.items() for row in stand_ins.control_points(area_id, origin)]
    stand_ins.write_control_points(folder, points)
    fit_areas_step(path, item_ties=False)
    found = items(path)
    assert found["A1-3"][0] == pytest.approx(line + [0.1, 0.08, 0], abs=1e-4)
    assert found["A1-2"][0][0] == pytest.approx([10.1, 20.25, -0.05], abs=1e-4)
    assert {"A1-1", "W1-1"}.isdisjoint(found)
    detect_items_step(path)
    assert set(items(path)) == set(found)


def test_other_numbers_in_a_later_detection_change_nothing(detected):
    """A shallower bar found first shifts the numbers of all others."""
    path, calls = detected
    line, _ = items(path)["A1-2"]
    editing.change(path, "items", "A1-2", line + [0, 0.03, 0])
    editing.delete(path, "items", "A1-1")
    for area_id in ("A1", "A2"):
        calls.bars[area_id] = [((0.0, 0.37, 0.03), (0.4, 0.37, 0.03)), *BARS]
    detect_items_step(path)
    found = items(path)
    assert found["A1-2"][0] == pytest.approx(line + [0, 0.03, 0])
    assert items_at(path, "A1,A2", 20.1) == []
    assert items_at(path, "A1,A2", 20.2) == []
    assert items_at(path, "A1,A2", 20.3) == ["A1-4"]
    assert items_at(path, "A1,A2", 20.37) == ["A1-1"]
    ids = {row["area_item_id"]: row["item_id"] for row in table(path, "picks") if row["area_id"] == "A1"}
    assert ids == {"A1-1": "A1-1", "A1-2": None, "A1-3": "A1-2", "A1-4": "A1-4"}


def test_a_new_item_never_takes_the_name_of_an_edited_one(detected):
    path, calls = detected
    line, _ = items(path)["A1-3"]
    editing.change(path, "items", "A1-3", line + [0, 0.03, 0])
    for area_id in ("A1", "A2"):
        calls.bars[area_id] = [BARS[0], BARS[2], ((0.0, 0.02, 0.07), (0.4, 0.02, 0.07))]
    detect_items_step(path)
    assert items_at(path, "A1,A2", 20.33) == ["A1-3"]
    assert items_at(path, "A1,A2", 20.02) == ["A1-3-h1"]
    assert {row["item_id"] for row in table(path, "picks") if row["area_item_id"] == "A2-3"} == {"A1-3-h1"}


def test_a_split_item_stays_in_two_pieces(detected):
    """Splitting in QGIS leaves the first piece in the old row and puts the second into a new one with the same values."""
    path, _ = detected
    line, _ = items(path)["A1-2"]
    middle = 0.5 * (line[0] + line[-1])
    editing.change(path, "items", "A1-2", [line[0], middle - [0.05, 0, 0]])
    editing.add(path, "items", [middle + [0.05, 0, 0], line[-1]], item_id="A1-2", area_ids="A1,A2", kind="bar")
    detect_items_step(path)
    found = {name: (line, row) for name, (line, row) in items(path).items() if row["source"] == "surveyor"}
    assert set(found) == {"A1-2", "A1-2-h1"}
    assert len(items(path)) == 13
    assert found["A1-2-h1"][0][-1] == pytest.approx(line[-1])


def test_a_deleted_item_that_is_later_seen_much_further_is_shown_again(detected):
    """Only A1 saw it when it was deleted; now A2 sees where it goes on."""
    path, calls = detected
    calls.bars["A2"] = []
    detect_items_step(path)
    editing.delete(path, "items", "A1-2")
    join_items_step(path)
    assert items_at(path, "A1", 20.2) == []
    calls.bars["A2"] = [BARS[1]]
    detect_items_step(path)
    assert items_at(path, "A1,A2", 20.2) == ["A1-2"]
    assert any(
        "A1-2 runs along A1-2, which the surveyor deleted, and continues beyond it" in text for text in said(path)
    )


def test_columns_and_remarks_of_the_surveyor_are_kept(detected):
    path, _ = detected
    editing.add_column(path, "items", "remark")
    editing.change(path, "items", "A1-1", remark="exposed at the edge", status="verified")
    for _ in range(2):
        detect_items_step(path)
        row = items(path)["A1-1"][1]
        assert (row["remark"], row["status"], row["source"]) == ("exposed at the edge", "verified", "surveyor")
    assert items(path)["A1-2"][1]["remark"] is None
    assert items(path)["A1-2"][1]["source"] == "computed"


def test_items_without_a_position_can_be_edited_too(detected, folder):
    path, _ = detected
    editing.change(path, "items", "LOST-2", kind="tendon")
    editing.delete(path, "items", "LOST-3")
    detect_items_step(path)
    found = {name: row for name, (_, row) in items(path).items() if name.startswith("LOST")}
    assert {name: row["kind"] for name, row in found.items()} == {"LOST-1": "bar", "LOST-2": "tendon"}
    points = [
        row for area_id, (_, _, at) in AREAS.items() for row in stand_ins.control_points(area_id, at or (12.0, 22.0))
    ]
    stand_ins.write_control_points(folder, points)
    fit_areas_step(path)
    assert items(path)["LOST-2"][0] == pytest.approx(np.array([[12.0, 22.2, -0.05], [12.4, 22.2, -0.05]]), abs=1e-3)
    assert "LOST-3" not in items(path)


def test_picks_are_kept_alike(detected):
    path, _ = detected
    picks = {row["pick_id"]: (point, row) for point, row in read_layer(path, "picks")}
    point, _ = picks["A1-1-2"]
    editing.change(path, "picks", "A1-1-2", point + [0, 0.02, -0.01])
    editing.change(path, "picks", "A1-1-3", depth_m=0.045)
    editing.delete(path, "picks", "A1-2-0")
    editing.add(path, "picks", [(10.1, 20.25, -0.08)], item_id="A1-3", line_id="y1")
    for _ in range(2):
        detect_items_step(path)
        found = {row["pick_id"]: (point, row) for point, row in read_layer(path, "picks")}
        assert len(found) == len(picks)  # one deleted, one added
        assert found["A1-1-2"][0] == pytest.approx(point + [0, 0.02, -0.01])
        row = found["A1-1-2"][1]
        assert (row["local_y_m"], row["depth_m"], row["source"]) == (
            pytest.approx(0.12, abs=1e-3),
            pytest.approx(0.06),
            "surveyor",
        )
        assert found["A1-1-3"][0][2] == pytest.approx(-0.045)
        assert "A1-2-0" not in found
        point_added, row = found["hand-h1"]
        assert point_added == pytest.approx([10.1, 20.25, -0.08])
        assert (row["area_id"], row["line_id"], row["item_id"], row["source"]) == ("A1", "y1", "A1-3", "surveyor")
        assert row["sigma_depth_m"] == 0.010
    assert said(path) == [
        "Kept as the surveyor left them: 0 items and 3 picks.",
        "Deleted by the surveyor and not brought back: 0 items and 1 pick (table 'dismissed').",
    ]


def test_the_whole_chain_and_reading_again_keep_edits_of_their_survey(detected, folder, tmp_path):
    path, _ = detected
    process_survey_step(folder, tmp_path)
    line, _ = items(path)["A1-2"]
    editing.change(path, "items", "A1-2", line + [0, 0.03, 0])
    editing.delete(path, "items", "A1-1")
    result = process_survey_step(folder, tmp_path)
    assert "A1-1" not in items(path)
    assert items(path)["A1-2"][0] == pytest.approx(line + [0, 0.03, 0])
    assert "Kept as the surveyor left them: 1 item (A1-2)" in result.report_path.read_text(encoding="utf-8")
    read_survey_step(folder, path)
    assert set(items(path)) == {"A1-2"}
    detect_items_step(path)
    assert "A1-1" not in items(path)
    assert len(items(path)) == 11


def test_edits_of_one_survey_are_never_replaced_by_another(detected, tmp_path):
    path, _ = detected
    other = stand_ins.write_survey(tmp_path / "other")
    areas = other / "scan_areas.csv"
    areas.write_text(areas.read_text(encoding="utf-8").replace("2031-05-04", "2031-06-01"), encoding="utf-8")
    read_survey_step(other, tmp_path / "copy.gpkg")
    editing.delete(path, "items", "A1-1")
    before = path.read_bytes()
    with pytest.raises(ProcessingError, match="hand edits of a survey other than"):
        process_survey_step(other, tmp_path)
    assert path.read_bytes() == before


def test_tables_of_one_mat_count_what_the_surveyor_left(detected):
    path, _ = detected
    assert [row["item_ids"] for row in table(path, "mats") if row["surface"] == "top"] == ["A1-1,A1-2,A1-3"]
    editing.add(path, "items", [(10.0, 20.38, -0.05), (10.7, 20.38, -0.05)], item_id="mine", kind="bar")
    editing.delete(path, "items", "A1-2")
    join_items_step(path)
    assert [row["item_ids"] for row in table(path, "mats") if row["surface"] == "top"] == ["A1-1,A1-3,mine"]


def test_a_row_that_lost_its_line_gives_way_to_what_is_computed(detected):
    path, _ = detected
    with editing.opened(path, "items") as layer:
        for feature in layer:
            if feature["item_id"] == "A1-2":
                feature.SetGeometry(None)
                layer.SetFeature(feature)
    join_items_step(path)
    assert items_at(path, "A1,A2", 20.2) == ["A1-2"]
    assert items(path)["A1-2"][1]["source"] == "computed"
    assert table(path, "dismissed") == []
    assert said(path)[0] == "Item A1-2 has no line, or lies in no area with a position; it was left out."


def test_what_was_just_drawn_is_an_obstacle_before_any_run(detected):
    from inslab.processing.penetrations.ground import find_ground, read_tables
    from inslab.processing.penetrations.model import DEFAULT_RULES

    path, _ = detected
    editing.add(path, "items", [(10.05, 20.02, 0), (10.35, 20.02, 0)], level="L1", surface="top", kind="tendon")
    before = len(read_layer(path, "items"))
    ground = find_ground(read_tables(path), "L1", "top", DEFAULT_RULES)
    drawn = [one for one in ground.pieces.obstacles if one.item_id == "a drawn item"]
    assert before == 13
    assert [(one.kind, one.vertices_m[:, 2].max(), one.sigma_xy_m) for one in drawn] == [("tendon", 0.0, 0.010)]
