"""inslab:processsurvey: definition, refusals, what a run leaves, faulty surveys, cancelling."""

import json
from pathlib import Path

import numpy as np
import pytest
import surveys
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsVectorLayer


def test_definition(inslab_provider):
    assert parameters_of("processsurvey") == {
        "SURVEY_FOLDER": ("file", None, False),
        "DEPTH_STEP": ("number", 0.01, False),
        "MAX_DEPTH": ("number", None, True),
        "CELL": ("number", 0.01, False),
        "SAMPLE_INTERVAL": ("number", None, True),
        "OUTPUT_FOLDER": ("folderDestination", None, False),
    }
    assert {"OUTPUT_FOLDER", "SURVEY", "REPORT", "ITEM_COUNT", "WORST_RESIDUAL"} <= outputs_of("processsurvey")


def test_refusals(inslab_provider, small_survey, tmp_path):
    sentence = complaint("processsurvey", {"SURVEY_FOLDER": str(small_survey), "OUTPUT_FOLDER": str(small_survey)})
    assert "choose another" in sentence
    sentence = complaint("processsurvey", {"SURVEY_FOLDER": str(tmp_path), "OUTPUT_FOLDER": str(tmp_path / "out")})
    assert "scan_areas.csv" in sentence


def test_run_leaves_the_files_of_the_design(processed):
    outputs, log = processed
    folder = Path(outputs["OUTPUT_FOLDER"])
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"survey.gpkg", "report.html", "slices/A1.tif", "slices/A2.tif", "slices/Level 1.tif"} <= names
    tables = ["scan_areas", "scan_lines", "control_points", "picks", "items", "coverage", "run_log"]
    for table in tables:
        assert QgsVectorLayer(f"{folder / 'survey.gpkg'}|layername={table}", table, "ogr").isValid(), table
    assert (outputs["AREA_COUNT"], outputs["LINE_COUNT"]) == (2, 64)
    assert outputs["WORST_RESIDUAL"] < 0.005  # the control points were moved by a millimetre (1 sigma)
    assert all(seconds >= 0 for seconds in json.loads(outputs["SECONDS"]).values())
    assert any("2 scan areas" in line for line in log.lines)
    assert log.steps == sorted(log.steps)
    assert log.steps[-1] == 100


def test_run_finds_the_bars_of_the_survey(processed):
    """Every bar that the survey was made with is found within 15 mm over most of its length."""
    outputs, _log = processed
    items = QgsVectorLayer(f"{outputs['SURVEY']}|layername=items", "", "ogr")
    lines = [
        np.array([(point.x(), point.y(), -point.z()) for point in row.geometry().vertices()])
        for row in items.getFeatures()
    ]
    for area_id in surveys.PLACES:
        for axis, across in (("x", 1), ("y", 0)):
            for position, depth in surveys.BARS[axis]:
                along = np.linspace(0.1, surveys.SIZE_M[across] - 0.1, 9)
                local = [(position, s) if axis == "x" else (s, position) for s in along]
                points = np.array([(*surveys.to_site(area_id, place), depth) for place in local])
                near = [min(distance(point, line) for line in lines) < 0.015 for point in points]
                assert np.mean(near) > 0.7, (area_id, axis, position)


def distance(point, line):
    """Distance of a point from a polyline in space, metres."""
    start, step = line[:-1], np.diff(line, axis=0)
    part = np.clip(np.sum((point - start) * step, axis=1) / np.sum(step**2, axis=1), 0, 1)
    return np.min(np.linalg.norm(start + part[:, None] * step - point, axis=1))


def test_a_faulty_survey_still_gives_a_result_and_names_each_fault(
    inslab_provider, qgis_processing, one_area, tmp_path
):
    (one_area / "lines" / "A1-X01-across.sgy").write_bytes(b"\0" * 100)
    (one_area / "lines" / "A1-X02-across.sgy").unlink()
    with (one_area / "scan_lines.csv").open("a", encoding="utf-8") as table:
        table.write("A9,X00,lines/A1-X00-across.sgy,across,0,0,1,0\n")
    log = Log()
    outputs = run("processsurvey", {"SURVEY_FOLDER": str(one_area), "OUTPUT_FOLDER": str(tmp_path / "out")}, log)
    assert outputs["LINE_COUNT"] == 30
    assert outputs["WARNING_COUNT"] >= 3
    report = Path(outputs["REPORT"]).read_text(encoding="utf-8")
    for name in ("A1-X01-across.sgy", "A1-X02-across.sgy", "A9"):
        assert name in report
        assert any(name in line for line in log.warnings)


@pytest.mark.parametrize("stop_at", [0, 30])
def test_cancelled_leaves_the_earlier_result(inslab_provider, qgis_processing, small_survey, tmp_path, stop_at):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "report.html").write_text("earlier")
    outputs = run("processsurvey", {"SURVEY_FOLDER": str(small_survey), "OUTPUT_FOLDER": str(folder)}, Log(stop_at))
    assert outputs == {}
    kept = folder / ".inslab-cache"  # areas that were done already are not computed again
    assert [path.name for path in tmp_path.rglob("*") if kept not in (path, *path.parents)] == ["out", "report.html"]
    assert (folder / "report.html").read_text() == "earlier"
