"""inslab:placepenetrations: definition, refusals, run, cancelling."""

from pathlib import Path

import grounds
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from holes import COLUMNS, write_holes
from qgis.core import QgsFeature, QgsGeometry, QgsRectangle, QgsVectorLayer

# A base plate with four anchors 100 mm apart, one of them on the bar at x 1.1; and two single holes.
PLATE = [(f"a{n}", 1.08 + x, 1.0 + y, 0.012, 0.08, 0.002, "plate") for n, (x, y) in
         enumerate(((0, 0), (0.1, 0), (0.1, 0.1), (0, 0.1)))]  # fmt: skip
ROWS = [*PLATE, ("clear", 0.6, 1.0, 0.012, 0.08, 0.002, ""), ("lost", 9.0, 1.0, 0.012, 0.08, 0.002, "")]


@pytest.fixture
def values(inslab_provider, qgis_processing, tmp_path):
    """Parameters for the holes above."""
    return {
        "SURVEY": str(grounds.write_survey(tmp_path / "survey.gpkg")),
        "PENETRATIONS": str(write_holes(tmp_path / "holes.csv", ROWS, (*COLUMNS, "pattern_id"))),
        "KEEP_OUT": 0.015,
        "OUTPUT": str(tmp_path / "places.gpkg"),
    }


def rows_of(path):
    layer = QgsVectorLayer(f"{path}|layername=penetration_places", "", "ogr")
    return list(layer.getFeatures())


def test_definition(inslab_provider):
    found = parameters_of("placepenetrations")
    assert found["SEARCH"] == ("number", 0.15, False)
    assert found["ALLOWED"] == ("source", None, True)
    assert outputs_of("placepenetrations") == {"OUTPUT", "PLACED_COUNT", "NOT_PLACED_COUNT"}


def test_run(values):
    log = Log()
    outputs = run("placepenetrations", values, log)
    assert (outputs["PLACED_COUNT"], outputs["NOT_PLACED_COUNT"]) == (2, 1)
    assert log.warnings == ["No clear place within 150 mm: hole lost."]
    rows = rows_of(values["OUTPUT"])
    plate = [row for row in rows if row["pattern_id"] == "plate" and row["rank"] == 1]
    assert len(plate) == 4
    assert {row["verdict"] for row in plate} == {"clear"}
    # Rigid: all four move alike.
    # Needed from the bar: 6 + 12.5 + 15 + 1.645 x 3.6 = 39.4 mm, of which 20 mm are there; the raster adds up to 3.
    assert len({(round(row["shift_x_m"], 6), round(row["shift_y_m"], 6)) for row in plate}) == 1
    assert plate[0]["moved_m"] == pytest.approx(0.0394 - 0.020, abs=0.003)
    free = next(row for row in rows if row["penetration_id"] == "clear" and row["rank"] == 1)
    assert free["moved_m"] == 0.0
    lost = [row for row in rows if row["penetration_id"] == "lost"]
    assert [row["rank"] for row in lost] == [0]
    assert lost[0]["verdict"] == "unknown"
    assert lost[0]["reason"].startswith("No clear place within 150 mm")


def test_alternatives_are_ranked(values):
    run("placepenetrations", values)
    moved = [row["moved_m"] for row in sorted(rows_of(values["OUTPUT"]), key=lambda row: row["rank"])
             if row["penetration_id"] == "a0"]  # fmt: skip
    assert len(moved) == 3
    assert moved == sorted(moved)


def test_a_pattern_may_turn(values, tmp_path):
    """Two anchors 180 mm apart along x fit between no two bars 200 mm apart, but do when they are turned."""
    pair = [("p0", 1.21, 1.0, 0.012, 0.08, 0.002, "pair"), ("p1", 1.39, 1.0, 0.012, 0.08, 0.002, "pair")]
    wide = [("p0", 1.11, 1.0, 0.012, 0.08, 0.002, "pair"), ("p1", 1.29, 1.0, 0.012, 0.08, 0.002, "pair")]
    for rows in (pair, wide):
        write_holes(tmp_path / "holes.csv", rows, (*COLUMNS, "pattern_id"))
        outputs = run("placepenetrations", {**values, "SEARCH": 0.02})
        expected = 1 if rows is pair else 0
        assert outputs["PLACED_COUNT"] == expected
    outputs = run("placepenetrations", {**values, "SEARCH": 0.02, "TURN": 90})
    assert outputs["PLACED_COUNT"] == 1
    assert abs(rows_of(values["OUTPUT"])[0]["turn_deg"]) > 20


def test_the_allowed_area_holds(values):
    layer = QgsVectorLayer("Polygon", "", "memory")
    feature = QgsFeature()
    feature.setGeometry(QgsGeometry.fromRect(QgsRectangle(1.0, 0.9, 1.25, 1.2)))
    layer.dataProvider().addFeature(feature)
    run("placepenetrations", {**values, "ALLOWED": layer})
    for row in rows_of(values["OUTPUT"]):
        point = row.geometry().asPoint()
        if row["rank"] > 0:
            assert row["pattern_id"] == "plate"
            assert 1.006 <= point.x() <= 1.244
    assert not [row for row in rows_of(values["OUTPUT"]) if row["rank"] > 0 and row["penetration_id"] == "clear"]


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [({"SURVEY": "nowhere.gpkg"}, "There is no file"), ({"SEARCH": -1}, "SEARCH"), ({"KEEP_OUT": "x"}, "KEEP_OUT")],
)
def test_refusals(values, changed, sentence):
    assert complaint("placepenetrations", values) == ""
    assert sentence in complaint("placepenetrations", {**values, **changed})


def test_an_inclined_hole_is_refused(values, tmp_path):
    from qgis.core import QgsProcessingException

    write_holes(tmp_path / "holes.csv", [("t", 1.2, 1.0, 0.012, 0.08, 0.002, 20)], (*COLUMNS, "tilt_deg"))
    with pytest.raises(QgsProcessingException, match="Penetration t is inclined"):
        run("placepenetrations", values)


@pytest.mark.parametrize("stop_at", [0, 40])
def test_cancelled_leaves_the_earlier_result(values, stop_at):
    run("placepenetrations", values)
    before = Path(values["OUTPUT"]).read_bytes()
    assert run("placepenetrations", values, Log(stop_at)) == {}
    assert Path(values["OUTPUT"]).read_bytes() == before
