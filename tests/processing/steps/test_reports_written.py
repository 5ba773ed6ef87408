"""A step that updates a survey asks first whether its report can be written."""

import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.readsurvey import read_survey_step

pytest.importorskip("osgeo")


def test_a_report_that_cannot_be_written_leaves_the_survey_as_it_was(folder, tmp_path):
    survey = tmp_path / "survey.gpkg"
    read_survey_step(folder, survey)
    before = survey.read_bytes()
    taken = tmp_path / "report.html"
    taken.mkdir()
    for step in (lambda: read_survey_step(folder, survey, taken), lambda: fit_areas_step(survey, taken)):
        with pytest.raises(ProcessingError, match=r"report\.html cannot be written"):
            step()
        assert survey.read_bytes() == before
    assert not list(tmp_path.glob("*.part"))
