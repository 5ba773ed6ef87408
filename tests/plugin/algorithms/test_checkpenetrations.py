"""inslab:checkpenetrations: definition, refusals, run, cancelling."""

import json
import math
from pathlib import Path

import grounds
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from holes import COLUMNS, write_holes
from qgis.core import QgsProcessingContext, QgsProcessingException, QgsProject, QgsVectorLayer

from inslab.processing.common.vocabulary.kinds import KINDS

# Bars at x 1.1 and 1.3, tendon at y 1.5 (see grounds).
ROWS = [
    ("free", 1.20, 1.0, 0.012, 0.20, 0.002),
    ("on a bar", 1.10, 1.0, 0.012, 0.20, 0.002),
    ("above it", 1.10, 1.0, 0.012, 0.005, 0.002),
    ("close", 1.125, 1.0, 0.012, 0.20, 0.002),
    ("half out", 1.20, 0.0, 0.052, 0.20, 0.002),
    ("far out", -3.0, 1.0, 0.012, 0.20, 0.002),
    ("too deep", 1.20, 1.0, 0.012, 0.26, 0.002),
    ("one way", 3.60, 1.0, 0.012, 0.20, 0.002),
    ("shadow", 1.59, 0.4, 0.008, 0.20, 0.0),
]


@pytest.fixture
def values(inslab_provider, qgis_processing, tmp_path):
    """Parameters for the holes above."""
    return {
        "SURVEY": str(grounds.write_survey(tmp_path / "survey.gpkg")),
        "PENETRATIONS": str(write_holes(tmp_path / "bohrlöcher.csv", ROWS)),
        "KEEP_OUT": 0.005,
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
    unknown = ("half out", "far out", "too deep", "one way", "shadow")
    assert {found[name] for name in unknown} == {"unknown"}
    words = ("partly outside", "outside what was scanned", "260 mm deep", "one direction only", "dense mat")
    for name, word in zip(unknown, words):
        assert word in rows[name]["reason"]
    assert "A3" in rows["far out"]["reason"]  # the area without a position may lie there
    assert [outputs[name] for name in ("CLEAR_COUNT", "TOO_CLOSE_COUNT", "HITS_COUNT", "UNKNOWN_COUNT")] == [2, 1, 1, 5]
    assert rows["on a bar"]["touch_probability"] > 0.9
    # 100 mm between the middles, less 6 mm for the hole, 12.5 mm for the largest bar assumed and 5 mm of keep-out.
    assert rows["free"]["margin_m"] == pytest.approx(0.0765, abs=1e-5)
    assert rows["free"]["sigma_margin_m"] == pytest.approx(math.hypot(grounds.SIGMA_XY, 0.002), rel=1e-6)
    assert rows["free"]["governing_item"] in ("B06", "B07")
    assert (rows["free"]["diameter_m"], rows["free"]["tolerance_m"]) == (0.012, 0.002)
    for row in rows.values():
        assert row["reason"].endswith(".")


def test_a_layer_in_a_geopackage_as_qgis_writes_it(values):
    path = values["OUTPUT"]
    run("checkpenetrations", {**values, "OUTPUT": f"ogr:dbname='{path}' table=\"penetration_verdicts\" (geom)"})
    assert len(rows_of(path)) == len(ROWS)


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
    from inslab.processing.site.crs import local_crs_wkt
    from inslab.processing.store.geopackage import read_layer, replace_layers
    from inslab.processing.store.layer import Layer

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
    assert sentence.lower() in found.lower().replace("confidence that the keep-out distance is kept", "confidence")


def test_a_missing_column_is_named(values, tmp_path):
    path = write_holes(tmp_path / "short.csv", [row[:4] for row in ROWS], COLUMNS[:4])
    assert "no column depth_m" in complaint("checkpenetrations", {**values, "PENETRATIONS": str(path)})


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (("a", 1.2, 1.0, 0.0, 0.1, ""), "Penetration a needs a diameter above zero"),
        (("a", 1.2, 1.0, "wide", 0.1, ""), "Penetration a, diameter_m: 'wide' is not a number"),
        (("a", 1.2, 1.0, 0.02, "", ""), "Penetration a has no depth_m"),
        (("a", "", 1.0, 0.02, 0.1, ""), "Penetration a has no x_m"),
        (("a", 1.2, 1.0, 0.02, 0.1, -1), "tolerance of zero or more"),
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

    with pytest.raises(QgsProcessingException, match="levels that do: Level 1"):
        run("checkpenetrations", {**values, "LEVEL": "Level 7"})
    with pytest.raises(QgsProcessingException, match="no scan area on the surface wall"):
        run("checkpenetrations", {**values, "SURFACE": "wall"})


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


def test_verdicts_say_where_they_were_checked(values):
    """Plans, sheets and bodies in 3-D are told apart by level and side; the planned holes need not say them."""
    run("checkpenetrations", values)
    rows = rows_of(values["OUTPUT"]).values()
    assert {(row["level"], row["surface"]) for row in rows} == {("Level 1", "top")}


def test_the_survey_notes_what_was_checked(values):
    from inslab.processing.common.vocabulary.steps import CHECK_PENETRATIONS
    from inslab.processing.steps.shared.survey_state import file_parameters
    from inslab.processing.store.reading import read_run_log

    run("checkpenetrations", values)
    last = read_run_log(values["SURVEY"])[-1]
    assert last["step"] == CHECK_PENETRATIONS
    noted = json.loads(last["parameters"])
    assert Path(noted.pop("result")).name == Path(values["OUTPUT"]).name
    assert noted == file_parameters(values["PENETRATIONS"])


def test_a_survey_that_cannot_be_written_to_is_checked_all_the_same(values, monkeypatch):
    from inslab.processing.common.errors import ProcessingError
    from inslab.processing.steps.shared import survey_state

    def refuse(*_):
        raise ProcessingError("The disc is full.")

    monkeypatch.setattr(survey_state, "replace_layers", refuse)
    log = Log()
    assert run("checkpenetrations", values, log)["CLEAR_COUNT"] >= 1
    assert any("could not be noted" in text and "The disc is full." in text for text in log.warnings)


def test_verdicts_are_not_checked_into_themselves(values):
    run("checkpenetrations", values)
    before = Path(values["OUTPUT"]).read_bytes()
    again = {**values, "PENETRATIONS": f"{values['OUTPUT']}|layername=penetration_verdicts"}
    with pytest.raises(QgsProcessingException, match="verdicts of an earlier check"):
        run("checkpenetrations", again)
    assert Path(values["OUTPUT"]).read_bytes() == before


def test_a_second_check_leaves_no_old_verdicts_on_the_map(values, tmp_path, qgis_new_project):
    """The verdict shown beside a hole that was moved must never be that of its old place."""
    from inslab.plugin.algorithms.loading import LayerStyler
    from inslab.plugin.styles.penetrations import style_verdicts

    shown = []
    for place in (1.20, 1.10):
        table = write_holes(tmp_path / f"{place}.csv", [("moved", place, 1.0, 0.012, 0.20, 0.002)])
        outputs = run("checkpenetrations", {**values, "PENETRATIONS": str(table)})
        shown.append(QgsVectorLayer(outputs["OUTPUT"], "verdicts", "ogr"))
        QgsProject.instance().addMapLayer(shown[-1])
        LayerStyler(style_verdicts).postProcessLayer(shown[-1], QgsProcessingContext(), None)
        shown[-1] = [feature["verdict"] for feature in shown[-1].getFeatures()]
    assert shown == [["clear"], ["hits"]]
    assert len(QgsProject.instance().mapLayers()) == 1
