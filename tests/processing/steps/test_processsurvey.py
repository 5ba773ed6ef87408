"""The chain's promises: what it writes, what it keeps, how it fails. Radar and detection are stood in for by hand."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import stand_ins
from stand_ins import AREAS, KINDS

from inslab.processing.area.cache import CACHE_FOLDER
from inslab.processing.area.settings import RunSettings
from inslab.processing.common import cautions
from inslab.processing.common.errors import Cancelled, MissingPackageError, ProcessingError, SurveyError
from inslab.processing.common.monitor import Monitor
from inslab.processing.items.model import Item
from inslab.processing.site.geotiff import GridReader
from inslab.processing.steps.depthslices import depth_slices_step
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.steps.wavespeed import wave_speed_step
from inslab.processing.store.geopackage import read_layer

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")

LAYERS = (
    *("scan_areas", "scan_lines", "control_points", "ties", "error_ellipses", "seams", "wave_speeds", "area_items"),
    *("area_depths", "picks", "items", "mats", "coverage", "rasters"),
)


@pytest.fixture
def radar(monkeypatch):
    """Stand-ins for radar and items: one bar along local x in each area, joined within a plane."""

    def join_items(items, monitor=Monitor()):
        ids = tuple(area_id for item in items for area_id in item.area_ids)
        line = np.vstack([item.vertices_m for item in items])
        name = "joined-" + "-".join(ids)
        joined = Item(name, ids, line, KINDS, 0.9, items[0].sigma_xy_m, 0.003, 5 * len(items))
        return SimpleNamespace(items=[joined], joined_as={item.item_id: name for item in items}, disagreements=[])

    return stand_ins.stand_in(monkeypatch, join_items)


def rows(path, layer):
    return [values for _, values in read_layer(path, layer)]


def tables(path):
    with closing(sqlite3.connect(path)) as file:
        return "\n".join(file.iterdump())


def snapshot(folder):
    """The files of a result and their bytes, without the results of areas that are kept for the next run."""
    files = [path for path in folder.rglob("*") if path.is_file() and CACHE_FOLDER not in path.parts]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def test_everything_a_run_promises_is_written(folder, radar, tmp_path):
    result = process_survey_step(folder, tmp_path / "out")
    assert sorted(snapshot(tmp_path / "out")) == [
        "base/L1 soffit.tif",
        "base/L1 wall.tif",
        "base/L1.tif",
        "origin/L1 soffit.tif",
        "origin/L1 wall.tif",
        "origin/L1.tif",
        "report.html",
        "slices/A1.tif",
        "slices/A2.tif",
        "slices/L1 soffit.tif",
        "slices/L1 wall.tif",
        "slices/L1.tif",
        "slices/S1.tif",
        "slices/W1.tif",
        "survey.gpkg",
    ]
    assert all(file.path.is_file() for file in result.rasters)
    assert result.found.failures == {}
    assert result.found.items_by_kind == {"bar": 4}
    assert result.found.worst_residual_m < 1e-3
    assert {"read", "fit", "image", "detect", "write"} <= set(result.found.seconds)
    assert [row["path"] for row in rows(result.survey_path, "rasters")][:2] == ["slices/A1.tif", "slices/A2.tif"]


def test_items_lie_where_they_are_and_say_how_sure_they_are(folder, radar, tmp_path):
    path = process_survey_step(folder, tmp_path / "out").survey_path
    found = {values["area_ids"]: (line, values) for line, values in read_layer(path, "items")}
    assert set(found) == {"A1,A2", "S1", "W1", "LOST"}  # one object = one item, and planes are never mixed
    line, values = found["A1,A2"]
    assert line == pytest.approx(
        np.array([[10, 20.1, -0.05], [10.4, 20.1, -0.06], [10.3, 20.1, -0.05], [10.7, 20.1, -0.06]])
    )
    assert (values["kind"], values["kind_confidence"], values["status"]) == ("bar", 0.7, "detected")
    assert (values["depth_min_m"], values["depth_max_m"]) == (0.05, 0.06)
    assert values["sigma_xy_m"] > np.hypot(0.004, 0.003 / 2)  # its own and at least that of the fit's middle
    assert sum(values[f"p_{kind}"] for kind in KINDS) == pytest.approx(1.0)
    line, values = found["S1"]
    assert line[:, 1] == pytest.approx(20.3)  # mirrored
    assert values["surface"] == "soffit"
    line, values = found["LOST"]
    assert line is None
    assert values["local_geometry"] == "LINESTRING Z (0.0000 0.1000 -0.0500, 0.4000 0.1000 -0.0600)"


def test_a_soffit_s_depths_are_also_counted_from_above(folder, radar, tmp_path):
    """The slab is 0.25 m thick: what lies 50 to 60 mm above the soffit lies 190 to 200 mm below the top."""
    path = process_survey_step(folder, tmp_path / "out").survey_path
    found = {values["area_ids"]: values for values in rows(path, "items")}
    soffit = found["S1"]
    assert (soffit["other_face_min_m"], soffit["other_face_max_m"]) == pytest.approx((0.19, 0.20))
    assert soffit["sigma_other_face_m"] == pytest.approx(np.hypot(soffit["sigma_depth_m"], 0.005))
    assert found["W1"]["other_face_min_m"] is None


def test_walls_are_drawn_in_plan(folder, radar, tmp_path):
    table = folder / "scan_areas.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    named = [f"{line},{'wall' if n == 0 else 'north' if line.startswith('W1') else ''}" for n, line in enumerate(lines)]
    table.write_text("\n".join(named), encoding="utf-8")
    (folder / "walls.csv").write_text(
        "level,wall,start_x_m,start_y_m,end_x_m,end_y_m\nL1,north,5,30,5,50\n", encoding="utf-8"
    )
    path = process_survey_step(folder, tmp_path / "out").survey_path
    (whole, wall), (part, scanned) = read_layer(path, "walls")
    assert whole.tolist() == [[5, 30], [5, 50]]
    assert (wall["level"], wall["elevation"], wall["area_id"]) == ("L1", "L1 north", None)
    assert part == pytest.approx(np.array([(5, 40), (5, 40.4)]), abs=1e-6)  # 10 m along the wall, 0.4 m wide
    assert scanned["area_id"] == "W1"
    assert (scanned["height_min_m"], scanned["height_max_m"]) == pytest.approx((20, 20.4))
    assert {values["level"] for values in rows(path, "items") if values["area_ids"] == "W1"} == {"L1 north"}
    assert (tmp_path / "out" / "slices" / "L1 north wall.tif").is_file()


def test_picks_follow_their_items_and_unplaced_ones_have_no_position(folder, radar, tmp_path):
    path = process_survey_step(folder, tmp_path / "out").survey_path
    picks = read_layer(path, "picks")
    assert len(picks) == 25
    items = {values["item_id"] for values in rows(path, "items")}
    assert {values["item_id"] for _, values in picks} == items
    assert {values["area_id"] for point, values in picks if point is None} == {"LOST"}
    point, values = next((p, v) for p, v in picks if v["pick_id"] == "A2-1-3")
    assert point == pytest.approx([10.6, 20.1, -0.05])
    assert values["polarization_ratio_db"] is None
    assert values["sigma_xy_m"] > values["sigma_along_m"]


def test_an_area_without_position_is_unknown_ground(folder, radar, tmp_path):
    result = process_survey_step(folder, tmp_path / "out")
    areas = {values["area_id"]: (rings, values) for rings, values in read_layer(result.survey_path, "scan_areas")}
    assert areas["LOST"][0] is None
    assert areas["LOST"][1]["status"] == "not positioned"
    assert areas["LOST"][1]["sigma_xy_m"] is None
    assert areas["A1"][0][0].min(axis=0) == pytest.approx([10, 20])
    coverage = read_layer(result.survey_path, "coverage")
    assert {values["area_id"] for _, values in coverage} == {"A1", "A2", "S1", "W1"}
    assert all(values["depth_m"] == 0.35 and values["line_directions"] == 2 for _, values in coverage)
    assert any("LOST is not positioned" in sentence for sentence in result.found.warnings)
    lines = read_layer(result.survey_path, "scan_lines")
    assert {values["area_id"] for line, values in lines if line is None} == {"LOST"}


def test_mosaics_hold_one_plane_each(folder, radar, tmp_path):
    process_survey_step(folder, tmp_path / "out")
    top = GridReader(tmp_path / "out/slices/L1.tif")
    assert top.bands[4].description == "0.040-0.050 m"
    assert top.grid.columns * top.grid.cell_m == pytest.approx(0.7, abs=0.021)
    wall = GridReader(tmp_path / "out/slices/L1 wall.tif")
    assert wall.grid.columns * wall.grid.cell_m == pytest.approx(0.4, abs=0.021)
    base = GridReader(tmp_path / "out/base/L1.tif")
    middle = base.read(base.grid.rows // 2, base.grid.columns // 2, 1, 1)[:, 0, 0]
    assert middle == pytest.approx([0.25, 0.005], abs=1e-4)


def test_same_input_gives_the_same_output(folder, radar, tmp_path):
    once = process_survey_step(folder, tmp_path / "out")
    first = snapshot(tmp_path / "out"), tables(once.survey_path)
    process_survey_step(folder, tmp_path / "out")
    second = snapshot(tmp_path / "out"), tables(once.survey_path)
    assert first[1] == second[1]
    assert first[0] == second[0]


def test_the_report_escapes_what_files_say_and_carries_the_cautions(folder, radar, tmp_path):
    radar.fail["A2"] = ProcessingError("Area A2: nothing <usable>.")
    text = process_survey_step(folder, tmp_path / "out").report_path.read_text(encoding="utf-8")
    assert "Survey job &lt;7&gt; &amp; ä" in text
    assert "nothing &lt;usable&gt;" in text
    assert "Check &lt;this&gt;." in text
    assert "<usable>" not in text
    assert "<script" not in text
    assert "http" not in text
    assert all(sentence in text for sentence in cautions.ALL)


def test_layers_carry_the_cautions(folder, radar, tmp_path):
    path = process_survey_step(folder, tmp_path / "out").survey_path
    with closing(sqlite3.connect(path)) as file:
        texts = dict(file.execute("SELECT table_name, description FROM gpkg_contents"))
    for layer in ("items", "picks", "coverage"):
        assert cautions.SHORT in texts[layer]


def test_a_failed_area_is_named_and_the_rest_still_runs(folder, radar, tmp_path):
    radar.fail["A2"] = ProcessingError("Area A2: no line shows a direct wave.")
    radar.fail["S1"] = ZeroDivisionError("division by zero")
    log = []
    result = process_survey_step(folder, tmp_path / "out", monitor=Monitor(log=log.append))
    assert result.found.failures["A2"] == "no line shows a direct wave."
    assert "internal error (ZeroDivisionError" in result.found.failures["S1"]
    assert any("Traceback" in line for line in log)
    assert {values["area_ids"] for values in rows(result.survey_path, "items")} == {"A1", "W1", "LOST"}
    findings = rows(result.survey_path, "findings")
    assert {"severity": "error", "where_found": "area A2", "text": result.found.failures["A2"]} in findings
    assert not (tmp_path / "out/slices/A2.tif").exists()


@pytest.mark.parametrize("stop_at", [0.0, 0.3, 0.86, 0.98])
def test_a_cancelled_run_leaves_the_earlier_result(folder, radar, tmp_path, stop_at):
    process_survey_step(folder, tmp_path / "out")
    before = snapshot(tmp_path / "out")
    done = [0.0]
    monitor = Monitor(progress=done.append, cancelled=lambda: done[-1] >= stop_at)
    with pytest.raises(Cancelled):
        process_survey_step(folder, tmp_path / "out", RunSettings(depth_step_m=0.02), monitor=monitor)
    assert snapshot(tmp_path / "out") == before
    assert not [
        path for path in (tmp_path / "out").iterdir() if path.name.startswith(".") and path.name != CACHE_FOLDER
    ]
    assert done == sorted(done)


def test_a_run_in_which_every_area_fails_leaves_the_earlier_result(folder, radar, tmp_path):
    process_survey_step(folder, tmp_path / "out")
    before = snapshot(tmp_path / "out")
    radar.fail.update({area_id: MemoryError() for area_id in AREAS})
    with pytest.raises(ProcessingError, match=r"No scan area could be processed.*A1: there is not enough memory"):
        process_survey_step(folder, tmp_path / "out")
    assert snapshot(tmp_path / "out") == before


def test_rasters_of_areas_that_are_gone_go_too(folder, radar, tmp_path):
    process_survey_step(folder, tmp_path / "out")
    (tmp_path / "out/slices/of the user.tif").write_bytes(b"mine")
    radar.fail["S1"] = ProcessingError("no")
    process_survey_step(folder, tmp_path / "out")
    names = {path.name for path in (tmp_path / "out/slices").iterdir()}
    assert names == {"A1.tif", "A2.tif", "W1.tif", "L1.tif", "L1 wall.tif", "of the user.tif"}


def test_a_missing_package_stops_the_run_with_what_to_install(folder, radar, tmp_path, monkeypatch):
    radar.fail["A1"] = ModuleNotFoundError("No module named 'scipy'", name="scipy")
    with pytest.raises(MissingPackageError, match="python3-scipy"):
        process_survey_step(folder, tmp_path / "out")


def test_step_by_step_gives_what_the_whole_chain_gives(folder, radar, tmp_path):
    whole = process_survey_step(folder, tmp_path / "whole")
    path = tmp_path / "steps" / "survey.gpkg"
    read = read_survey_step(folder, path, tmp_path / "steps" / "read.html")
    assert "scan areas" in read.report_path.read_text(encoding="utf-8").lower()
    radar.estimated.clear()
    speeds = wave_speed_step(path)
    assert list(speeds.found.wave_speeds) == list(AREAS)
    detected = detect_items_step(path)
    assert detected.found.items_by_kind == whole.found.items_by_kind
    fitted = fit_areas_step(path, tmp_path / "steps" / "fit.html")
    assert "Variance factor" in fitted.report_path.read_text(encoding="utf-8")
    slices = depth_slices_step(path, tmp_path / "steps")
    assert len(slices.rasters) == len(whole.rasters)
    assert radar.estimated == list(AREAS)  # once: later steps take them from the layer
    for layer in LAYERS:
        assert repr(read_layer(path, layer)) == repr(read_layer(whole.survey_path, layer)), layer
    for file in whole.rasters:
        twin = tmp_path / "steps" / file.path.relative_to(tmp_path / "whole")
        assert twin.read_bytes() == file.path.read_bytes()
    log = rows(path, "run_log")
    assert [row["step"] for row in rows(whole.survey_path, "run_log")] == [
        *("read survey", "fit areas", "estimate wave speed", "detect items", "fit areas", "join items", "depth slices"),
        "write report",
    ]
    assert [row["step"] for row in log if row["step"] != "join items"] == [
        *("read survey", "fit areas", "estimate wave speed", "detect items", "fit areas", "depth slices")
    ]
    assert [row["step_number"] for row in log] == list(range(1, len(log) + 1))
    assert json.loads(log[-1]["parameters"]) == {"cell_m": 0.01, "depth_step_m": 0.01, "max_depth_m": None}


def test_known_depths_of_the_folder_or_of_a_table_take_part(folder, radar, tmp_path):
    rows_of = "area_id,feature,local_x_m,local_y_m,depth_m,sigma_m,speed_m_ns,sigma_m_ns"
    (folder / "known_depths.csv").write_text(f"{rows_of}\nA1,base,0.2,0.2,0.26,0.001,,\nB7,base,0.2,0.2,0.2,,,\n")
    whole = process_survey_step(folder, tmp_path / "out")
    speeds = {row["area_id"]: row for row in rows(whole.survey_path, "wave_speeds")}
    # The stand-in's base shows 0.25 m, to 2 %: 4 % more path is 4 % more speed, which counts for a fifth.
    assert 0.1105 < speeds["A1"]["speed_m_ns"] < 0.112
    assert speeds["A1"]["method"] == "stand-in, 1 known"
    assert speeds["A2"]["speed_m_ns"] == 0.11
    assert speeds["A2"]["focus_speed_m_ns"] == 0.112
    assert any("no scan area B7" in row["text"] for row in rows(whole.survey_path, "findings"))
    logged = [row["parameters"] for row in rows(whole.survey_path, "run_log") if row["step"] == "estimate wave speed"]
    mended = {"dropouts": True, "clipping": True, "gain_drift": True}
    assert json.loads(logged[0]) == {"known_depths": 1, "mended": mended}
    other = tmp_path / "other.csv"
    other.write_text("area_id,feature,speed_m_ns,sigma_m_ns\nA2,speed,0.111,0.00001\n")
    speeds = wave_speed_step(whole.survey_path, other).found.wave_speeds
    assert speeds["A1"].speed_m_ns == 0.11
    assert speeds["A2"].speed_m_ns == pytest.approx(0.111, abs=1e-6)


def test_a_stated_thickness_that_the_slab_base_contradicts_is_told(folder, radar, tmp_path):
    path = folder / "scan_areas.csv"
    head, *areas = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([f"{head},slab_thickness_m", f"{areas[0]},0.28", f"{areas[1]},0.255"]), encoding="utf-8")
    result = process_survey_step(folder, tmp_path / "out")
    told = [found for found in result.found.findings if "states a thickness" in found.text]
    assert [found.where for found in told] == ["area A1"]
    assert "seen at 0.250 m, but the table of areas states a thickness of 0.280 m" in told[0].text


def test_a_step_finds_the_survey_after_folder_and_result_were_moved_together(folder, radar, tmp_path):
    read_survey_step(folder, tmp_path / "out" / "survey.gpkg", settings=RunSettings(sample_interval_ns=0.04))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    folder.rename(elsewhere / folder.name)
    with pytest.raises(SurveyError, match="no longer exists"):
        wave_speed_step(tmp_path / "out" / "survey.gpkg")
    (tmp_path / "out").rename(elsewhere / "out")
    result = wave_speed_step(elsewhere / "out" / "survey.gpkg")
    assert len(result.found.wave_speeds) == len(AREAS)
    assert result.read.survey.areas[0].lines[0].sample_interval_ns == 0.04


def test_a_step_refuses_a_survey_whose_folder_has_changed(folder, radar, tmp_path):
    path = tmp_path / "survey.gpkg"
    read_survey_step(folder, path)
    table = folder / "scan_areas.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("W1,", "W2,"), encoding="utf-8")
    with pytest.raises(ProcessingError, match="read the survey again"):
        detect_items_step(path)


def test_settings_that_make_no_sense_are_named(folder, tmp_path):
    with pytest.raises(ProcessingError, match="cell_m must be greater than zero metres, not 0"):
        process_survey_step(folder, tmp_path / "out", RunSettings(cell_m=0))
    assert not (tmp_path / "out").exists()


def test_qgis_reads_layers_and_rasters_with_a_valid_crs(folder, radar, tmp_path, qgis_app):
    from qgis.core import QgsRasterLayer, QgsUnitTypes, QgsVectorLayer

    result = process_survey_step(folder, tmp_path / "out")
    opened = [QgsVectorLayer(f"{result.survey_path}|layername=items", "items", "ogr")]
    opened += [QgsRasterLayer(str(file.path), Path(file.path).stem) for file in result.rasters]
    for layer in opened:
        assert layer.isValid()
        assert layer.crs().isValid()
        assert not layer.crs().isGeographic()
        assert layer.crs().mapUnits() == QgsUnitTypes.DistanceUnit.DistanceMeters
        assert "not tied" in layer.crs().description()


def test_a_base_above_the_depth_asked_for_is_said(folder, radar, tmp_path):
    result = process_survey_step(folder, tmp_path / "out", RunSettings(max_depth_m=0.3))
    said = [finding.text for finding in result.found.findings if "slab base lies at 250 mm" in finding.text]
    assert len(said) == len(result.read.survey.areas)
    result = process_survey_step(folder, tmp_path / "out", RunSettings(max_depth_m=0.2))
    assert not any("slab base lies at" in finding.text for finding in result.found.findings)


def test_a_result_of_another_version_is_left_alone_and_named(folder, radar, tmp_path):
    process_survey_step(folder, tmp_path / "out")
    with closing(sqlite3.connect(tmp_path / "out" / "survey.gpkg")) as file, file:
        file.execute("DROP TABLE last_written")
        file.execute("ALTER TABLE picks RENAME COLUMN area_item_id TO another")
    with pytest.raises(SurveyError, match=r"has no .* another version of Inslab wrote it"):
        process_survey_step(folder, tmp_path / "out")
