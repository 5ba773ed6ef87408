"""Which steps of a survey are done, and which no longer fit what they were made from."""

import hashlib
import shutil

import editing
import pytest
import stand_ins

from inslab.processing.common.errors import SurveyError
from inslab.processing.common.vocabulary.steps import CHECK_PENETRATIONS, STEPS, WRITE_REPORT
from inslab.processing.steps.depthslices import depth_slices_step
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.steps.shared import survey_state
from inslab.processing.steps.shared.survey_state import (
    DONE,
    NOT_DONE,
    OUTDATED,
    WARNINGS,
    file_parameters,
    note_step,
    read_states,
    result_parameters,
    steps_to_run,
)
from inslab.processing.steps.wavespeed import wave_speed_step
from inslab.processing.store import fingerprints
from inslab.processing.store.geopackage import read_layer
from inslab.processing.survey.fingerprint import MISSING, fingerprint_file
from inslab.processing.survey.model import Finding

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")
CHAIN = [name for name in STEPS if name != CHECK_PENETRATIONS]


@pytest.fixture
def folder(tmp_path):
    """Two areas of the stand-in survey, so that nothing is there to be warned of."""
    folder = stand_ins.write_survey(tmp_path / "survey")
    for table in folder.glob("*.csv"):
        rows = table.read_text(encoding="utf-8").splitlines()
        table.write_text("\n".join(row for row in rows if not row.startswith(("S1", "W1", "LOST"))) + "\n")
    return folder


@pytest.fixture
def survey(folder, tmp_path, monkeypatch):
    """Path of a survey.gpkg that the whole chain just wrote."""
    stand_ins.stand_in(monkeypatch)
    process_survey_step(folder, tmp_path / "out")
    return tmp_path / "out" / "survey.gpkg"


def states(path, **more):
    return {one.step.name: one.state for one in read_states(path, **more)}


def outdated(path):
    return [name for name, state in states(path).items() if state == OUTDATED]


def reasons(path, name):
    return next(one.reasons for one in read_states(path) if one.step.name == name)


def test_before_anything_was_run(tmp_path):
    assert set(states(tmp_path / "survey.gpkg").values()) == {NOT_DONE}
    assert steps_to_run(read_states(tmp_path / "survey.gpkg")) == CHAIN
    (tmp_path / "no.gpkg").write_text("words")
    with pytest.raises(SurveyError, match="not a GeoPackage"):
        read_states(tmp_path / "no.gpkg")


def test_after_the_whole_chain_all_is_done(survey):
    found = states(survey)
    assert found.pop(CHECK_PENETRATIONS) == NOT_DONE
    assert set(found.values()) <= {DONE, WARNINGS}
    assert steps_to_run(read_states(survey)) == []


def test_fingerprints_are_those_of_the_content(folder, tmp_path):
    path = folder / "scan_areas.csv"
    assert fingerprint_file(path) == hashlib.blake2b(path.read_bytes(), digest_size=16).hexdigest()
    assert fingerprint_file(tmp_path / "none") == MISSING
    remembered = {}
    first = fingerprints.survey_inputs(folder, remembered)
    assert len(remembered) == len(first["lines"]) + len(first["places"])
    again = shutil.copytree(folder, tmp_path / "copy")  # other dates, same content
    assert fingerprints.summary(fingerprints.survey_inputs(again)) == fingerprints.summary(first)


def test_reading_alone_leaves_the_rest_to_do(folder, tmp_path):
    read_survey_step(folder, tmp_path / "survey.gpkg")
    found = states(tmp_path / "survey.gpkg")
    assert [name for name, state in found.items() if state != NOT_DONE] == ["read survey", "fit areas"]
    assert steps_to_run(read_states(tmp_path / "survey.gpkg")) == CHAIN[2:]


def test_a_control_point_that_moves_outdates_what_depends_on_places(survey, folder):
    path = folder / "control_points.csv"
    path.write_text(path.read_text().replace("0.003", "0.004"))
    assert outdated(survey) == ["fit areas", "depth slices", "join items", WRITE_REPORT]
    assert reasons(survey, "fit areas") == ("Changed since: control_points.csv.",)
    assert reasons(survey, "depth slices") == ("Fit areas together is outdated.",)


def test_a_line_file_that_changes_outdates_everything(survey, folder):
    file = sorted(folder.glob("lines/*.sgy"))[0]
    content = file.read_bytes()
    file.write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    assert outdated(survey) == CHAIN
    assert reasons(survey, "read survey") == (f"Changed since: lines/{file.name}.",)
    file.write_bytes(content)  # put back: nothing is outdated, whatever the file's date says
    assert outdated(survey) == []
    for other in sorted(folder.glob("lines/*.sgy"))[:5]:
        other.unlink()
    assert "and 2 more" in reasons(survey, "read survey")[0]


def test_a_known_depth_outdates_the_wave_speed_and_what_follows(survey, folder):
    (folder / "known_depths.csv").write_text("area_id,feature,speed_m_ns,sigma_m_ns\nA1,speed,0.11,0.001\n")
    assert outdated(survey) == ["estimate wave speed", "depth slices", "detect items", "join items", WRITE_REPORT]


def test_a_step_run_again_outdates_those_after_it(survey):
    wave_speed_step(survey)
    assert outdated(survey) == ["depth slices", "detect items", "join items", WRITE_REPORT]
    assert reasons(survey, "depth slices") == ("Wave speed was run after it.",)
    detect_items_step(survey)
    depth_slices_step(survey, survey.parent)
    assert outdated(survey) == [WRITE_REPORT]


def test_edits_by_hand_ask_for_joining(survey):
    name = read_layer(survey, "items")[0][1]["item_id"]
    editing.change(survey, "items", name, kind="tendon")
    assert outdated(survey) == ["join items", WRITE_REPORT]
    join_items_step(survey)
    assert "join items" not in outdated(survey)
    editing.delete(survey, "items", name)
    assert "join items" in outdated(survey)


def test_a_folder_that_is_gone_makes_nothing_count_as_done(survey, folder):
    folder.rename(folder.with_name("elsewhere"))
    found = states(survey)
    found.pop(CHECK_PENETRATIONS)
    assert set(found.values()) == {OUTDATED}
    assert "no longer exists" in reasons(survey, "join items")[0]
    assert states(survey, folder=folder.with_name("elsewhere"))["read survey"] in (DONE, WARNINGS)


def test_penetrations_are_checked_until_they_or_the_items_change(survey, tmp_path):
    planned = tmp_path / "holes.csv"
    planned.write_text("penetration_id\nP1\n")
    note_step(survey, CHECK_PENETRATIONS, file_parameters(planned))
    assert states(survey)[CHECK_PENETRATIONS] == DONE
    planned.write_text("penetration_id\nP1\nP2\n")
    assert reasons(survey, CHECK_PENETRATIONS) == ("Changed since: holes.csv.",)
    note_step(survey, CHECK_PENETRATIONS, file_parameters(planned))
    join_items_step(survey)
    assert reasons(survey, CHECK_PENETRATIONS) == ("Join across areas was run after it.",)


def test_a_report_counts_as_long_as_it_is_there_and_what_it_lists_is_unchanged(survey, tmp_path):
    verdicts, report = tmp_path / "verdicts.csv", survey.with_name("report.pdf")
    verdicts.write_text("penetration_id,verdict\nP1,clear\n")
    report.write_bytes(b"%PDF")
    noted = {**file_parameters(verdicts), **result_parameters(survey, report)}
    assert noted["result"] == "report.pdf"  # a copied folder keeps its own
    note_step(survey, WRITE_REPORT, noted)
    assert states(survey)[WRITE_REPORT] == DONE
    verdicts.write_text("penetration_id,verdict\nP1,hits\n")
    assert reasons(survey, WRITE_REPORT) == ("Changed since: verdicts.csv.",)
    report.unlink()
    assert states(survey)[WRITE_REPORT] == NOT_DONE
    assert result_parameters(survey, tmp_path / "elsewhere.pdf") == {"result": (tmp_path / "elsewhere.pdf").as_posix()}


def test_findings_belong_to_the_step_that_made_them(folder, tmp_path):
    points = folder / "control_points.csv"
    points.write_text(points.read_text() + "A1,P9,0.1,0.1,99,99,0.003\nA1,P10,x,0,0,0,0.003\n")
    (folder / "scan_areas.csv").write_text((folder / "scan_areas.csv").read_text() + "A7,L1,sideways,0.06,1500,,,\n")
    read_survey_step(folder, tmp_path / "survey.gpkg")
    found = {one.step.name: one for one in read_states(tmp_path / "survey.gpkg")}
    assert found["read survey"].state == found["fit areas"].state == WARNINGS
    assert any("sideways" in one.text for one in found["read survey"].findings)
    assert any("P9" in one.text for one in found["fit areas"].findings)
    assert not any("P9" in one.text for one in found["read survey"].findings)


def test_a_result_of_an_earlier_version_does_not_count_as_up_to_date(survey):
    with editing.opened(survey, "run_log") as layer:
        for feature in list(layer):
            feature.SetFieldNull("inputs")
            layer.SetFeature(feature)
    assert "earlier version" in reasons(survey, "read survey")[0]
    assert survey_state.read_states(survey)[0].state == OUTDATED


@pytest.mark.parametrize(
    ("where", "text", "named"),
    [
        ("scan_lines.csv", "Area A1 has no lines.", ["A1"]),
        ("A2", "It lies beside A1.", ["A2"]),  # where it was found counts first
        ("A10", "Something about A1-b.", []),
        ("", "All of it.", []),
    ],
)
def test_areas_that_a_finding_names(where, text, named):
    assert survey_state.areas_named(Finding("warning", where, text), ["A1", "A2"]) == named
