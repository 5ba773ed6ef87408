"""inslab:surveyreport: definition, refusals, a run on a processed survey, cancelling."""

import re
import subprocess
import unicodedata
from pathlib import Path

import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsProcessingException

from inslab.processing.common import cautions
from inslab.processing.store.geopackage import read_layer


@pytest.fixture
def values(processed, inslab_provider, tmp_path):
    return {
        "SURVEY": processed[0]["SURVEY"],
        "CLIENT": "A client & <sons>",
        "REPORT": str(tmp_path / "report.pdf"),
        "HTML": str(tmp_path / "report.html"),
    }


def pages_of(path):
    """The text of each page, as another program (poppler) reads it."""
    text = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True).stdout
    return unicodedata.normalize("NFKC", text).split("\f")[:-1]  # without ligatures


def test_definition(inslab_provider):
    found = parameters_of("surveyreport")
    assert found["TITLE"] == ("string", "", True)
    assert found["PENETRATIONS"] == ("source", None, True)
    assert found["REPORT"][0] == "fileDestination"
    assert outputs_of("surveyreport") == {"REPORT", "HTML", "PAGE_COUNT"}


def test_run(values):
    outputs = run("surveyreport", values)
    pages = pages_of(values["REPORT"])
    assert len(pages) == outputs["PAGE_COUNT"]
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
        assert len(page.split()) > 20  # none is empty
    whole = re.sub(r"[\s•]+", " ", " ".join(pages))
    assert "A client & <sons>" in whole
    for sentence in cautions.ALL:
        assert sentence in whole
    for _, row in read_layer(values["SURVEY"], "items"):
        assert row["item_id"] in whole
    assert "Scale 1:10 on A4" in whole
    html = Path(values["HTML"]).read_text(encoding="utf-8")
    assert "A client &amp; &lt;sons&gt;" in html
    assert html.count("data:image/png;base64,iVBOR") == 3  # the level and two areas


def test_radargrams_are_put_in(values):
    run("surveyreport", {**values, "LINES": "A1/X00"})
    assert "Radargrams" in " ".join(pages_of(values["REPORT"]))
    assert Path(values["HTML"]).read_text(encoding="utf-8").count("data:image/png;base64,iVBOR") > 3


def test_the_survey_notes_that_it_was_written_wherever_it_was_started(values):
    from inslab.processing.common.vocabulary.steps import WRITE_REPORT
    from inslab.processing.steps.shared.survey_state import DONE, NOT_DONE, read_states

    def state():
        return next(one for one in read_states(values["SURVEY"]) if one.step.name == WRITE_REPORT)

    run("surveyreport", values)
    assert state().state == DONE
    Path(values["REPORT"]).unlink()
    assert state().state == NOT_DONE
    assert state().reasons == (f"Its result {values['REPORT']} is missing.",)


def test_same_survey_same_file(values, tmp_path):
    run("surveyreport", values)
    run("surveyreport", {**values, "REPORT": str(tmp_path / "again.pdf")})
    assert Path(values["REPORT"]).read_bytes() == (tmp_path / "again.pdf").read_bytes()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [({"SURVEY": "nowhere.gpkg"}, "There is no file"), ({"PENETRATIONS": "x.csv"}, "Could not load")],
)
def test_refusals(values, changed, sentence):
    assert complaint("surveyreport", values) == ""
    assert sentence in complaint("surveyreport", {**values, **changed})


def test_an_unknown_line_is_named(values):
    with pytest.raises(QgsProcessingException, match="A9"):
        run("surveyreport", {**values, "LINES": "A9/x00"})


@pytest.mark.parametrize("stop_at", [0, 60])
def test_cancelled_leaves_the_earlier_report(values, stop_at):
    for name in ("REPORT", "HTML"):
        Path(values[name]).write_text("earlier", encoding="utf-8")
    assert run("surveyreport", values, Log(stop_at)) == {}
    assert Path(values["REPORT"]).read_text(encoding="utf-8") == "earlier"
    assert Path(values["HTML"]).read_text(encoding="utf-8") == "earlier"
    assert sorted(path.name for path in Path(values["REPORT"]).parent.iterdir()) == ["report.html", "report.pdf"]
