"""inslab:readsurvey: definition, refusals, run, cancelling."""

import pytest
import surveys
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsProcessingException, QgsVectorLayer


def layer(path, name):
    return QgsVectorLayer(f"{path}|layername={name}", name, "ogr")


def test_definition(inslab_provider):
    assert parameters_of("readsurvey") == {
        "SURVEY_FOLDER": ("file", None, False),
        "SAMPLE_INTERVAL": ("number", None, True),
        "SURVEY": ("fileDestination", None, False),
        "REPORT": ("fileDestination", None, True),
    }
    assert outputs_of("readsurvey") == {"SURVEY", "REPORT", "AREA_COUNT", "LINE_COUNT", "FINDING_COUNT"}


def test_refusals(inslab_provider, tmp_path):
    parameters = {"SURVEY_FOLDER": str(tmp_path / "nowhere"), "SURVEY": str(tmp_path / "s.gpkg")}
    assert "does not exist: choose the folder" in complaint("readsurvey", parameters)
    sentence = complaint("readsurvey", {**parameters, "SURVEY_FOLDER": str(tmp_path)})
    assert "scan_areas.csv" in sentence
    assert "scan_lines.csv" in sentence


def test_run_writes_areas_lines_and_control_points(survey):
    areas = layer(survey, "scan_areas")
    assert {row["area_id"]: row["status"] for row in areas.getFeatures()} == {"A1": "fitted", "A2": "fitted"}
    # The drawn areas are where the survey was set up: A1 is not turned, so its box is its own size.
    box = next(row for row in areas.getFeatures() if row["area_id"] == "A1").geometry().boundingBox()
    assert (box.xMinimum(), box.yMinimum()) == pytest.approx(surveys.PLACES["A1"][0], abs=0.004)
    assert (box.width(), box.height()) == pytest.approx(surveys.SIZE_M, abs=0.004)
    assert layer(survey, "scan_lines").featureCount() == 64
    assert layer(survey, "control_points").featureCount() == 8


def test_run_counts_and_reports(inslab_provider, qgis_processing, survey_copy, tmp_path):
    (survey_copy / "lines" / "A1-X00-across.sgy").write_bytes(b"not a line")
    outputs = run(
        "readsurvey",
        {"SURVEY_FOLDER": str(survey_copy), "SURVEY": str(tmp_path / "s.gpkg"), "REPORT": str(tmp_path / "r.html")},
    )
    assert (outputs["AREA_COUNT"], outputs["LINE_COUNT"]) == (2, 63)
    assert outputs["FINDING_COUNT"] >= 1
    assert "A1-X00-across.sgy" in (tmp_path / "r.html").read_text(encoding="utf-8")


def test_a_survey_without_any_usable_line_fails_with_a_sentence(
    inslab_provider, qgis_processing, survey_copy, tmp_path
):
    for path in (survey_copy / "lines").iterdir():
        path.unlink()
    parameters = {"SURVEY_FOLDER": str(survey_copy), "SURVEY": str(tmp_path / "s.gpkg")}
    with pytest.raises(QgsProcessingException, match=r"\.$"):
        run("readsurvey", parameters)
    assert not (tmp_path / "s.gpkg").exists()


def test_cancelled_leaves_the_earlier_survey(inslab_provider, qgis_processing, small_survey, tmp_path):
    path = tmp_path / "s.gpkg"
    path.write_text("earlier")
    parameters = {"SURVEY_FOLDER": str(small_survey), "SURVEY": str(path)}
    assert "SURVEY" not in run("readsurvey", parameters, Log(stop_at=0))
    assert path.read_text() == "earlier"
