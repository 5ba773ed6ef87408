"""inslab:checkpenetrations: definition, refusals, run, cancelling."""

import math
from pathlib import Path

import pytest
import surveys
from algorithms import Log, complaint, outputs_of, parameters_of, run
from holes import COLUMNS, write_holes
from qgis.core import QgsVectorLayer

from inslab.processing.items.model import KINDS


def local(x, y):
    """Site x, y of a point of area A1."""
    return [round(float(value), 4) for value in surveys.to_site("A1", (x, y))]


# Bars of the small survey lie at local x 0.2, 0.4, 0.6 and y 0.15, 0.4.
ROWS = [
    ("free", *local(0.30, 0.28), 0.012, 0.06, 0.002),
    ("on a bar", *local(0.40, 0.28), 0.012, 0.10, 0.002),
    ("above it", *local(0.40, 0.28), 0.012, 0.005, 0.002),
    ("close", *local(0.375, 0.28), 0.012, 0.10, 0.002),
    ("half out", *local(0.0, 0.28), 0.052, 0.10, 0.002),
    ("far out", *local(-3.0, 0.28), 0.012, 0.10, 0.002),
    ("too deep", *local(0.30, 0.28), 0.012, 2.0, 0.002),
]


@pytest.fixture
def values(processed, inslab_provider, tmp_path):
    """Parameters for the holes above."""
    outputs, _log = processed
    return {
        "SURVEY": outputs["SURVEY"],
        "PENETRATIONS": str(write_holes(tmp_path / "bohrlöcher.csv", ROWS)),
        "KEEP_OUT": 0.015,
        "OUTPUT": str(tmp_path / "verdicts.gpkg"),
    }


def rows_of(path):
    layer = QgsVectorLayer(f"{path}|layername=penetration_verdicts", "", "ogr")
    assert layer.isValid()
    return {row["penetration_id"]: row for row in layer.getFeatures()}


def test_definition(inslab_provider):
    found = parameters_of("checkpenetrations")
    assert found["SURVEY"] == ("file", None, False)
    assert found["PENETRATIONS"] == ("source", None, False)
    assert found["OUTPUT"][0] == "vectorDestination"
    assert found["KEEP_OUT"][0] == "matrix"
    assert found["KEEP_OUT"][1][::2] == list(KINDS)
    assert found["SURFACE"] == ("enum", "top", False)
    counts = {"CLEAR_COUNT", "TOO_CLOSE_COUNT", "HITS_COUNT", "UNKNOWN_COUNT"}
    assert outputs_of("checkpenetrations") == {"OUTPUT", "SECTIONS", *counts}


def test_the_engineer_is_asked_to_set_the_keep_out(inslab_provider):
    from algorithms import algorithm

    owner = algorithm("checkpenetrations")
    for name in ("KEEP_OUT", "OBJECT_DIAMETERS"):
        assert "to be set by the responsible engineer" in owner.parameterDefinition(name).description()


def test_run(values):
    outputs = run("checkpenetrations", values)
    rows = rows_of(values["OUTPUT"])
    found = {name: row["verdict"] for name, row in rows.items()}
    assert found["on a bar"] == "hits"
    assert found["close"] == "too_close"
    assert found["free"] == found["above it"] == "clear"
    assert found["half out"] == found["far out"] == found["too deep"] == "unknown"
    assert "partly outside" in rows["half out"]["reason"]
    assert "outside what was scanned" in rows["far out"]["reason"]
    assert "2000 mm deep" in rows["too deep"]["reason"]
    assert [outputs[name] for name in ("CLEAR_COUNT", "TOO_CLOSE_COUNT", "HITS_COUNT", "UNKNOWN_COUNT")] == [2, 1, 1, 3]
    assert rows["on a bar"]["touch_probability"] > 0.9
    # 100 mm to the bars' middle, less the hole's radius (6 mm) and the keep-out; 8 mm for where the bars were found.
    assert 0 < rows["free"]["margin_m"] < 0.100 - 0.006 - 0.015 + 0.008
    assert (rows["free"]["diameter_m"], rows["free"]["tolerance_m"]) == (0.012, 0.002)
    for row in rows.values():
        assert row["reason"].endswith(".")


def test_a_table_of_keep_out_distances(values):
    run("checkpenetrations", {**values, "KEEP_OUT": [cell for kind in KINDS for cell in (kind, 0.09)]})
    assert rows_of(values["OUTPUT"])["free"]["verdict"] == "too_close"


def test_sections_are_drawn(values, tmp_path):
    folder = tmp_path / "sections"
    run("checkpenetrations", {**values, "SECTIONS": str(folder)})
    assert len(list(folder.iterdir())) == len(ROWS)
    row = rows_of(values["OUTPUT"])["on a bar"]
    assert Path(row["section"]).read_text(encoding="utf-8").startswith("<?xml")


def test_other_layers_of_the_output_stay(values):
    run("checkpenetrations", values)
    from inslab.processing.outputs.geopackage import Layer, read_layer, replace_layers
    from inslab.processing.site.crs import local_crs_wkt

    replace_layers(values["OUTPUT"], [Layer("mine", None, {"a": int}, [(None, {"a": 7})])], local_crs_wkt())
    run("checkpenetrations", values)
    assert read_layer(values["OUTPUT"], "mine")[0][1]["a"] == 7


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"SURVEY": "nowhere.gpkg"}, "There is no file"),
        ({"KEEP_OUT": "nonsense"}, "KEEP_OUT"),
        ({"KEEP_OUT": ["bar", 0.02, "tendon", 0.05]}, "KEEP_OUT needs a row for each of the kinds"),
        ({"KEEP_OUT": -0.01}, "must be zero or more"),
        ({"CONFIDENCE": 0.2}, "CONFIDENCE"),
    ],
)
def test_refusals(values, changed, sentence):
    assert complaint("checkpenetrations", values) == ""
    found = complaint("checkpenetrations", {**values, **changed})
    assert sentence.lower() in found.lower().replace("confidence that the keep-out distance holds", "confidence")


def test_a_missing_column_is_named(values, tmp_path):
    path = write_holes(tmp_path / "short.csv", [row[:4] for row in ROWS], COLUMNS[:4])
    assert "no column depth_m" in complaint("checkpenetrations", {**values, "PENETRATIONS": str(path)})


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (("a", 10.3, 20.28, 0.0, 0.1, ""), "Penetration a needs a diameter above zero"),
        (("a", 10.3, 20.28, "wide", 0.1, ""), "Penetration a, diameter_m: 'wide' is no number"),
        (("a", 10.3, 20.28, 0.02, "", ""), "Penetration a has no depth_m"),
        (("a", "", 20.28, 0.02, 0.1, ""), "Penetration a has no x_m"),
        (("a", 10.3, 20.28, 0.02, 0.1, -1), "tolerance of zero or more"),
    ],
)
def test_a_bad_row_is_named(values, tmp_path, row, sentence):
    from qgis.core import QgsProcessingException

    path = write_holes(tmp_path / "bad.csv", [row])
    with pytest.raises(QgsProcessingException, match=sentence):
        run("checkpenetrations", {**values, "PENETRATIONS": str(path)})
    assert not Path(values["OUTPUT"]).exists()


def test_a_level_that_is_not_there_is_named(values):
    from qgis.core import QgsProcessingException

    with pytest.raises(QgsProcessingException, match="levels that have: Level 1"):
        run("checkpenetrations", {**values, "LEVEL": "Level 7"})
    with pytest.raises(QgsProcessingException, match="no scan area on the surface soffit"):
        run("checkpenetrations", {**values, "SURFACE": "soffit"})


@pytest.mark.parametrize("stop_at", [0, 40])
def test_cancelled_leaves_the_earlier_result(values, stop_at):
    run("checkpenetrations", values)
    before = Path(values["OUTPUT"]).read_bytes()
    assert run("checkpenetrations", values, Log(stop_at)) == {}
    assert Path(values["OUTPUT"]).read_bytes() == before


def test_points_with_their_geometry(values, tmp_path):
    """A layer of points in memory gives the same verdicts as the table."""
    from qgis.core import QgsFeature, QgsGeometry, QgsPointXY

    layer = QgsVectorLayer(
        "Point?field=penetration_id:string&field=diameter_m:double&field=depth_m:double&field=floor:int", "", "memory"
    )
    for name, x, y, diameter, depth, _tolerance in ROWS:
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(x, y)))
        feature.setAttributes([name, diameter, depth, 2])
        layer.dataProvider().addFeature(feature)
    run("checkpenetrations", values)
    of_table = {name: row["verdict"] for name, row in rows_of(values["OUTPUT"]).items()}
    other = {**values, "PENETRATIONS": layer, "TOLERANCE": 0.002, "OUTPUT": str(tmp_path / "points.gpkg")}
    run("checkpenetrations", other)
    rows = rows_of(other["OUTPUT"])
    assert {name: row["verdict"] for name, row in rows.items()} == of_table
    assert rows["free"]["floor"] == 2
    assert math.isclose(rows["free"].geometry().asPoint().x(), ROWS[0][1], abs_tol=1e-9)
