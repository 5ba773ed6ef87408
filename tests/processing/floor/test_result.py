"""What is handed from step to step never changes."""

from dataclasses import FrozenInstanceError, replace
from pathlib import Path

import pytest

from inslab.processing.floor.result import Found, StepResult, SurveyRead
from inslab.processing.survey.model import Finding, Survey

FINDING = Finding("warning", "area A", "It is small.")


def test_mappings_cannot_be_changed_at_any_level():
    found = Found(failures={"A": "no lines."}, by_hand={"B1": {"note": "seen"}})
    with pytest.raises(TypeError):
        found.failures["A"] = "none"
    with pytest.raises(TypeError):
        found.by_hand["B1"]["note"] = "unseen"
    read = SurveyRead(Path("survey.gpkg"), Survey(Path(), ()), inputs={"lines": {"a.csv": "1"}})
    with pytest.raises(TypeError):
        read.inputs["lines"]["a.csv"] = "2"
    with pytest.raises(FrozenInstanceError):
        read.inputs = {}


def test_what_they_were_made_of_may_change_without_them():
    failures, row, findings = {"A": "no lines."}, {"note": "seen"}, [FINDING]
    found = Found(failures=failures, by_hand={"B1": row}, findings=findings)
    failures["B"] = row["note"] = "later"
    findings.clear()
    assert found.failures == {"A": "no lines."}
    assert found.by_hand == {"B1": {"note": "seen"}}
    assert found.findings == (FINDING,)


def test_a_changed_copy_shares_what_did_not_change():
    found = Found(failures={"A": "no lines."})
    later = replace(found, seconds={"read": 1.0}).taking({"read": 0.5}).noting(FINDING)
    assert later.failures is found.failures
    assert later.seconds == {"read": 1.5}
    assert found.seconds == {}


def test_rasters_of_a_step_are_a_tuple():
    read = SurveyRead(Path("survey.gpkg"), Survey(Path(), ()))
    assert StepResult(read, Found(), []).rasters == ()
