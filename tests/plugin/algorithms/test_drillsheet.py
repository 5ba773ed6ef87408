"""inslab:drillsheet: definition, refusals, run, cancelling."""

from pathlib import Path

import grounds
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from holes import write_holes
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsProcessingException, QgsVectorLayer

ROWS = [("free", 1.20, 1.0, 0.012, 0.20, 0.002), ("bar", 1.10, 1.0, 0.012, 0.20, 0.002)]


@pytest.fixture
def axes():
    """Axis 1 along y at x 0, axis 2 at x 4, axis A along x at y 0.4."""
    layer = QgsVectorLayer("LineString?field=name:string", "", "memory")
    for name, ends in (("1", ((0, -1), (0, 5))), ("2", ((4, -1), (4, 5))), ("A", ((-1, 0.4), (6, 0.4)))):
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(*end) for end in ends]))
        feature.setAttributes([name])
        layer.dataProvider().addFeature(feature)
    return layer


@pytest.fixture
def values(inslab_provider, qgis_processing, axes, tmp_path):
    """Parameters for the holes above."""
    return {
        "SURVEY": str(grounds.write_survey(tmp_path / "survey.gpkg")),
        "PENETRATIONS": str(write_holes(tmp_path / "holes.csv", ROWS)),
        "AXES": axes,
        "KEEP_OUT": 0.015,
        "OUTPUT": str(tmp_path / "sheet.gpkg"),
        "SHEETS": str(tmp_path / "sheets.pdf"),
    }


def test_definition(inslab_provider):
    found = parameters_of("drillsheet")
    assert found["AXES"] == ("source", None, True)
    assert found["AXIS_NAME"] == ("string", "name", False)
    assert found["SHEETS"][0] == "fileDestination"
    assert outputs_of("drillsheet") == {"OUTPUT", "SHEETS", "SHEET_COUNT"}


def test_run(values):
    assert run("drillsheet", values)["SHEET_COUNT"] == 2
    layer = QgsVectorLayer(f"{values['OUTPUT']}|layername=drill_sheet", "", "ogr")
    free, bar = layer.getFeatures()
    assert (free["verdict"], bar["verdict"]) == ("clear", "hits")
    # 1.2 m from axis 1; axis A is nearer (1.0 - 0.4) and comes first.
    assert (free["axis_1"], free["axis_1_side"], free["axis_2"], free["axis_2_side"]) == ("A", "+y", "1", "+x")
    assert free["axis_1_offset_m"] == pytest.approx(0.6, abs=1e-6)
    assert free["axis_2_offset_m"] == pytest.approx(1.2, abs=1e-6)
    assert free["clear_to_m"] == pytest.approx(0.20)
    # Above the bar: 40 mm less 15 mm and 1.645 x 6.4 mm (bar 4 mm, drilled depth 5 mm) leaves 14.5 mm, in steps of 5.
    assert bar["clear_to_m"] == pytest.approx(0.010)
    assert "B06" in free["nearest_items"]
    assert "does not guarantee" in free["cautions"]
    pdf = Path(values["SHEETS"]).read_bytes()
    assert pdf.startswith(b"%PDF")
    assert b"/Count 2" in pdf


def test_without_axes(values):
    values.pop("AXES")
    run("drillsheet", values)
    row = next(QgsVectorLayer(f"{values['OUTPUT']}|layername=drill_sheet", "", "ogr").getFeatures())
    assert not row["axis_1"]


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"SURVEY": "nowhere.gpkg"}, "There is no file"),
        ({"AXIS_NAME": "label"}, "no column label"),
        ({"KEEP_OUT": "x"}, "KEEP_OUT"),
    ],
)
def test_refusals(values, changed, sentence):
    assert complaint("drillsheet", values) == ""
    assert sentence in complaint("drillsheet", {**values, **changed})


def test_an_axis_without_a_direction_is_named(values):
    layer = QgsVectorLayer("LineString?field=name:string", "", "memory")
    feature = QgsFeature(layer.fields())
    feature.setGeometry(QgsGeometry.fromWkt("LineString (1 1, 2 2, 1 1)"))
    feature.setAttributes(["7"])
    layer.dataProvider().addFeature(feature)
    with pytest.raises(QgsProcessingException, match="Grid axis 7 is not a line"):
        run("drillsheet", {**values, "AXES": layer})


@pytest.mark.parametrize("stop_at", [0, 40, 70])
def test_cancelled_leaves_the_earlier_sheets(values, stop_at):
    run("drillsheet", values)
    before = [Path(values[name]).read_bytes() for name in ("OUTPUT", "SHEETS")]
    assert run("drillsheet", values, Log(stop_at)) == {}
    assert [Path(values[name]).read_bytes() for name in ("OUTPUT", "SHEETS")] == before
