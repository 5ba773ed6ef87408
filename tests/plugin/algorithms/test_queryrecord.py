"""inslab:queryrecord: definition, refusals, a polygon, a line, a level, and an earlier date."""

from pathlib import Path

import pytest
from algorithms import complaint, outputs_of, parameters_of, run
from qgis.core import QgsFeature, QgsGeometry, QgsVectorLayer


@pytest.fixture
def record(processed, tmp_path, inslab_provider, qgis_processing):
    path = str(tmp_path / "building.gpkg")
    run("updaterecord", {"SURVEY": processed[0]["SURVEY"], "RECORD": path})
    return path


def layer_of(kind, *texts):
    layer = QgsVectorLayer(f"{kind}?crs=EPSG:3857", "where", "memory")
    for text in texts:
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromWkt(text))
        layer.dataProvider().addFeature(feature)
    layer.updateExtents()
    return layer


def test_definition(inslab_provider):
    found = parameters_of("queryrecord")
    assert {name for name, (_, _, optional) in found.items() if not optional} == {"RECORD", "WIDTH", "OUTPUT"}
    layers = {"ITEMS", "UNKNOWN", "ANSWER", "ITEM_COUNT", "UNKNOWN_AREA"}
    assert outputs_of("queryrecord") == {"OUTPUT", "REPORT", *layers}


def test_refusals(record, tmp_path):
    from qgis.core import QgsProcessingException

    given = {"RECORD": record, "OUTPUT": str(tmp_path / "answer.gpkg")}
    assert "There is no record" in complaint("queryrecord", {**given, "RECORD": str(tmp_path / "none.gpkg")})
    with pytest.raises(QgsProcessingException, match="no level Roof; it has: Level 1"):
        run("queryrecord", {**given, "LEVEL": "Roof"})
    two = layer_of("LineString", "LINESTRING (0 0, 1 1)", "LINESTRING (2 2, 1 1)")
    with pytest.raises(QgsProcessingException, match="one polygon or one line, not 2"):
        run("queryrecord", {**given, "WHERE": two})


def test_a_polygon_half_scanned(record, tmp_path):
    # Area A1 lies at x 10 to 10.8 and y 20 to 20.6; this reaches as far out of it as into it.
    where = layer_of("Polygon", "POLYGON ((9.6 20.1, 10.4 20.1, 10.4 20.5, 9.6 20.5, 9.6 20.1))")
    given = {
        "RECORD": record,
        "WHERE": where,
        "OUTPUT": str(tmp_path / "answer.gpkg"),
        "REPORT": str(tmp_path / "a.html"),
    }
    outputs = run("queryrecord", given)
    unknown = QgsVectorLayer(outputs["UNKNOWN"], "", "ogr")
    assert {row["why"] for row in unknown.getFeatures()} == {"never scanned"}
    assert outputs["UNKNOWN_AREA"] == pytest.approx(0.4 * 0.4, abs=0.005)
    items = QgsVectorLayer(outputs["ITEMS"], "", "ogr")
    assert items.featureCount() == outputs["ITEM_COUNT"] > 0
    assert all(row["age_years"] == 0.0 for row in items.getFeatures())
    assert "Never scanned, and therefore unknown, never clear: 0.16 m²" in outputs["ANSWER"]
    page = Path(outputs["REPORT"]).read_text(encoding="utf-8")
    assert "does not guarantee detection" in page
    assert "Unknown ground" in page


def test_a_line_a_level_and_a_date(record, tmp_path):
    given = {"RECORD": record, "OUTPUT": str(tmp_path / "answer.gpkg")}
    line = layer_of("LineString", "LINESTRING (10.1 20.3, 10.3 20.3)")
    found = run("queryrecord", {**given, "WHERE": line, "WIDTH": 0.05})
    everything = run("queryrecord", {**given, "LEVEL": "Level 1", "DEPTH": 3.0})
    assert 0 < found["ITEM_COUNT"] < everything["ITEM_COUNT"]
    assert "Not seen down to 3000 mm" in everything["ANSWER"]
    nothing = run("queryrecord", {**given, "KNOWN_ON": "2030-01-01"})
    assert nothing["ITEM_COUNT"] == 0
    assert "all of it is unknown" in nothing["ANSWER"]


@pytest.mark.parametrize("name", ["wavespeed", "detectitems", "joinitems"])
def test_a_record_is_taken_for_no_survey(record, name):
    """Its tables have the names of a survey's, and other columns."""
    assert "is a record, not a survey" in complaint(name, {"SURVEY": record})


def test_a_report_takes_a_record(record, tmp_path):
    assert not complaint("surveyreport", {"SURVEY": record, "REPORT": str(tmp_path / "a.pdf")})
