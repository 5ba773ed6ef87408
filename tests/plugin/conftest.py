"""Runs that several tests look at, each done once."""

import shutil

import pytest


@pytest.fixture(scope="session")
def processed(small_survey, tmp_path_factory, qgis_processing):
    """Outputs and log of inslab:processsurvey for the small survey; the files are not to be changed."""
    from algorithms import Log
    from qgis.core import QgsProcessingContext

    from inslab.plugin.algorithms.processsurvey import ProcessSurvey

    parameters = {
        "SURVEY_FOLDER": str(small_survey),
        "OUTPUT_FOLDER": str(tmp_path_factory.mktemp("processed") / "result"),
    }
    log = Log()
    outputs, done = ProcessSurvey().create().run(parameters, QgsProcessingContext(), log)
    assert done
    return outputs, log


@pytest.fixture
def survey(small_survey, tmp_path, inslab_provider, qgis_processing):
    """Path of a survey.gpkg that readsurvey just wrote."""
    from algorithms import run

    path = tmp_path / "survey.gpkg"
    run("readsurvey", {"SURVEY_FOLDER": str(small_survey), "SURVEY": str(path), "REPORT": str(tmp_path / "r.html")})
    return path


@pytest.fixture
def survey_copy(small_survey, tmp_path):
    """Folder of the small survey that a test may spoil."""
    return shutil.copytree(small_survey, tmp_path / "survey")


@pytest.fixture
def one_area(survey_copy):
    """Folder of a survey of area A1 alone, which a test may spoil."""
    for table in survey_copy.glob("*.csv"):
        rows = table.read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if not row.startswith("A2,")]
        table.write_text("\n".join(kept) + "\n", encoding="utf-8")
    return survey_copy


@pytest.fixture
def survey_with_speeds(processed, tmp_path, inslab_provider):
    """Path of a survey.gpkg that holds wave speeds, which a test may change."""
    outputs, _log = processed
    return shutil.copy(outputs["SURVEY"], tmp_path / "survey.gpkg")
