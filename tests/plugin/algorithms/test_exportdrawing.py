"""inslab:exportdrawing: definition, refusals, run, cancelling."""

from pathlib import Path

import grounds
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from holes import write_holes
from qgis.core import QgsProcessingException, QgsVectorLayer

ROWS = [("free", 1.20, 1.0, 0.012, 0.20, 0.002), ("bar", 1.10, 1.0, 0.012, 0.20, 0.002)]


@pytest.fixture
def values(inslab_provider, qgis_processing, tmp_path):
    return {
        "SURVEY": str(grounds.write_survey(tmp_path / "survey.gpkg")),
        "PENETRATIONS": str(write_holes(tmp_path / "holes.csv", ROWS)),
        "DXF": str(tmp_path / "a.dxf"),
        "GEOPACKAGE": str(tmp_path / "a.gpkg"),
        "POINTS": str(tmp_path / "a.csv"),
    }


def test_definition(inslab_provider):
    found = parameters_of("exportdrawing")
    assert found["PENETRATIONS"] == ("source", None, True)
    assert found["KINDS"] == ("enum", ["bar", "tendon", "metal_conduit", "plastic_conduit", "unknown"], False)
    assert found["DXF"] == ("fileDestination", None, True)
    assert found["SURFACE_HEIGHT"] == ("number", None, True)
    assert outputs_of("exportdrawing") == {"DXF", "GEOPACKAGE", "POINTS", "ITEM_COUNT"}


def test_run(values):
    outputs = run("exportdrawing", values)
    assert outputs["ITEM_COUNT"] == 18
    drawing = QgsVectorLayer(f"{values['DXF']}|layername=entities|geometrytype=LineString25D", "", "ogr")
    names = {feature["Layer"] for feature in drawing.getFeatures()}
    assert {"S-BAR---E-E---------0000-0050", "S-HOLE--E-N---------NOTCHECKED"} <= names
    part = QgsVectorLayer(f"{values['GEOPACKAGE']}|layername=items", "", "ogr")
    assert part.featureCount() == 18
    assert part.crs().isValid()
    assert Path(values["POINTS"]).read_text(encoding="utf-8").startswith("point_id,")


def test_verdicts_of_check_penetrations_are_taken(values, tmp_path):
    checked = str(tmp_path / "checked.gpkg")
    run(
        "checkpenetrations",
        {"SURVEY": values["SURVEY"], "PENETRATIONS": values["PENETRATIONS"], "KEEP_OUT": 0.015, "OUTPUT": checked},
    )
    run("exportdrawing", {**values, "PENETRATIONS": checked})
    points = Path(values["POINTS"]).read_text(encoding="utf-8")
    assert "free,1.2000,1.0000,0.0000,HOLE-CLEAR" in points
    assert "bar,1.1000,1.0000,0.0000,HOLE-HITS" in points


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"SURVEY": "nowhere.gpkg"}, "There is no file"),
        ({"FROM_DEPTH": 0.2, "TO_DEPTH": 0.1}, "swap them"),
        ({"DXF": None, "GEOPACKAGE": None, "POINTS": None}, "There is nothing to write"),
    ],
)
def test_refusals(values, changed, sentence):
    assert complaint("exportdrawing", values) == ""
    assert sentence in complaint("exportdrawing", {**values, **changed})


def test_penetrations_without_a_size_are_refused(values, tmp_path):
    (tmp_path / "bad.csv").write_text("penetration_id,x_m,y_m\na,1,1\n", encoding="utf-8")
    assert "bad have no column diameter_m" in complaint(
        "exportdrawing", {**values, "PENETRATIONS": str(tmp_path / "bad.csv")}
    )


def test_a_grid_that_is_not_tied_is_said(values):
    with pytest.raises(QgsProcessingException, match="not tied to a national grid"):
        run("exportdrawing", {**values, "GRID": "national"})


def test_cancelled_leaves_the_earlier_drawing(values):
    Path(values["DXF"]).write_text("earlier", encoding="utf-8")
    assert run("exportdrawing", values, Log(0)) == {}
    assert Path(values["DXF"]).read_text(encoding="utf-8") == "earlier"
