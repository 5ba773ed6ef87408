"""inslab:fitareas: definition, refusals, run, cancelling."""

import csv

import numpy as np
import pytest
import surveys
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsVectorLayer


def rows(path, name):
    layer = QgsVectorLayer(f"{path}|layername={name}", name, "ogr")
    assert layer.isValid()
    return [{field.name(): row[field.name()] for field in layer.fields()} for row in layer.getFeatures()]


def move_point(folder, area_id, point_id, by_m):
    """Changes one control point of the survey folder; returns nothing."""
    path = folder / "control_points.csv"
    with path.open(newline="", encoding="utf-8") as file:
        table = list(csv.reader(file))
    for row in table:
        if row[:2] == [area_id, point_id]:
            row[4] = str(float(row[4]) + by_m)
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(table)


def test_definition(inslab_provider):
    assert parameters_of("fitareas") == {
        "SURVEY": ("file", None, False),
        "TIES": ("file", None, True),
        "ITEM_TIES": ("boolean", True, False),
        "FREE_SCALE": ("boolean", False, False),
        "SIGNIFICANCE": ("number", 0.001, False),
        "POWER": ("number", 0.8, False),
        "REPORT": ("fileDestination", None, True),
    }
    assert outputs_of("fitareas") == {
        "REPORT",
        *("FITTED_COUNT", "LEFT_OUT_COUNT", "VARIANCE_FACTOR", "WORST_RESIDUAL", "SEAM_COUNT"),
    }


def test_refusals(inslab_provider, tmp_path):
    assert "There is no file" in complaint("fitareas", {"SURVEY": str(tmp_path / "s.gpkg")})
    (tmp_path / "s.gpkg").write_text("something else")
    assert "not a GeoPackage" in complaint("fitareas", {"SURVEY": str(tmp_path / "s.gpkg")})


def test_run_names_a_moved_point_and_places_the_area_by_the_others(
    inslab_provider, qgis_processing, survey_copy, tmp_path
):
    path = tmp_path / "survey.gpkg"
    run("readsurvey", {"SURVEY_FOLDER": str(survey_copy), "SURVEY": str(path), "REPORT": str(tmp_path / "r.html")})
    move_point(survey_copy, "A2", "P3", 0.05)
    log = Log()
    outputs = run("fitareas", {"SURVEY": str(path), "REPORT": str(tmp_path / "fit.html")}, log)
    assert outputs["FITTED_COUNT"] == 2
    assert outputs["LEFT_OUT_COUNT"] == 1
    assert outputs["WORST_RESIDUAL"] < 0.004
    assert any("control point P3 is left out" in line for line in log.warnings)
    points = {(row["area_id"], row["point_id"]): row for row in rows(path, "control_points")}
    assert [key for key, row in points.items() if not row["used"]] == [("A2", "P3")]
    assert points["A2", "P3"]["residual_x_m"] == pytest.approx(-0.05, abs=0.006)
    area = next(row for row in rows(path, "scan_areas") if row["area_id"] == "A2")
    assert area["rotation_deg"] == pytest.approx(surveys.PLACES["A2"][1], abs=0.5)
    assert (area["shift_x_m"], area["shift_y_m"]) == pytest.approx(surveys.PLACES["A2"][0], abs=0.005)
    assert len(rows(path, "error_ellipses")) == 10  # four corners and the middle of each area
    assert "P3" in (tmp_path / "fit.html").read_text(encoding="utf-8")
    assert rows(path, "run_log")[-1]["step"] == "fit areas"


def test_run_takes_ties_from_a_table(survey, tmp_path):
    """A true feature of both areas, 1 mm sigma: the tie's residual is small; one that is 60 mm off is named."""
    places = [(0.1, 0.1), (0.5, 0.3), (0.7, 0.5)]
    origin, turned = surveys.to_site("A1", (0, 0)), surveys.PLACES["A2"]
    angle = np.radians(turned[1])
    back = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    table = ["tie_id,area_id_a,local_x_a_m,local_y_a_m,area_id_b,local_x_b_m,local_y_b_m,sigma_m"]
    for number, place in enumerate(places):
        there = back @ (origin + place - np.array(turned[0])) + (0.06 if number == 1 else 0.0)
        table.append(f"core {number},A1,{place[0]},{place[1]},A2,{there[0]:.5f},{there[1]:.5f},0.002")
    (tmp_path / "ties.csv").write_text("\n".join(table), encoding="utf-8")
    outputs = run(
        "fitareas", {"SURVEY": str(survey), "TIES": str(tmp_path / "ties.csv"), "REPORT": str(tmp_path / "f")}
    )
    ties = {row["tie_id"]: row for row in rows(survey, "ties")}
    assert [bool(row["used"]) for row in ties.values()] == [True, False, True]
    assert abs(ties["core 0"]["residual"]) < 0.006
    assert outputs["LEFT_OUT_COUNT"] == 1
    assert outputs["VARIANCE_FACTOR"] < 3


def test_cancelled_leaves_the_survey_as_it_was(survey):
    before = survey.read_bytes()
    assert run("fitareas", {"SURVEY": str(survey)}, Log(stop_at=20)) == {}
    assert survey.read_bytes() == before
