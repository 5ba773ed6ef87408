"""inslab:wavespeed: definition, refusals, run, cancelling."""

import pytest
import surveys
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsVectorLayer


def test_definition(inslab_provider):
    assert parameters_of("wavespeed") == {"SURVEY": ("file", None, False), "KNOWN_DEPTHS": ("file", None, True)}
    assert outputs_of("wavespeed") == {"WAVE_SPEEDS", "AREA_COUNT"}


@pytest.mark.parametrize("name", ["wavespeed", "depthslices", "detectitems"])
def test_refusals(inslab_provider, tmp_path, name):
    parameters = {"SURVEY": str(tmp_path / "s.gpkg"), "OUTPUT_FOLDER": str(tmp_path / "out")}
    assert "There is no file" in complaint(name, parameters)
    (tmp_path / "s.gpkg").write_text("something else")
    assert "not a GeoPackage" in complaint(name, parameters)


def test_run_finds_the_speed_that_the_survey_was_made_with_within_its_sigma(
    inslab_provider, qgis_processing, one_area, tmp_path
):
    survey = tmp_path / "survey.gpkg"
    run("readsurvey", {"SURVEY_FOLDER": str(one_area), "SURVEY": str(survey), "REPORT": str(tmp_path / "r.html")})
    outputs = run("wavespeed", {"SURVEY": str(survey)})
    assert outputs["AREA_COUNT"] == 1
    layer = QgsVectorLayer(outputs["WAVE_SPEEDS"], "", "ogr")
    for row in layer.getFeatures():
        assert 0 < row["sigma_m_ns"] < 0.02
        assert abs(row["speed_m_ns"] - surveys.SPEED_M_NS) < 2 * row["sigma_m_ns"]
        assert abs(row["time_zero_ns"] - surveys.TIME_ZERO_NS) < 2 * row["sigma_time_zero_ns"]


def test_cancelled_leaves_the_survey_as_it_was(survey):
    before = survey.read_bytes()
    assert run("wavespeed", {"SURVEY": str(survey)}, Log(stop_at=20)) == {}
    assert survey.read_bytes() == before
