"""The sample survey as a whole: frames, kinds, drawings, and the same bytes from every run."""

import csv
import math
import struct
from pathlib import Path

import numpy as np
import pytest

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.survey.formats.segy import read_header
from inslab.sample_project import building, drawings, generate, penetrations, scan_plan, scanned_plan
from inslab.sample_project.clutter import draw_stones
from inslab.sample_project.scan_plan import AREAS, FLOOR, Area

SMALL = Area("S90", FLOOR, "top", (203.4, 102.6), 10.0, (0.2, 0.1), 0.10)


def test_small_area_comes_out_the_same_twice(tmp_path):
    contents = []
    for name in ("first", "second"):
        folder = tmp_path / name
        folder.mkdir()
        truth = generate.write_survey(folder, [SMALL])
        files = sorted(path for path in folder.rglob("*") if path.is_file())
        contents.append((truth, [(path.name, path.read_bytes()) for path in files]))
    assert contents[0] == contents[1]
    assert len(contents[0][1]) == 3 + 2 * 5
    header = read_header(tmp_path / "first" / "lines" / "S90_x00_across.sgy")
    assert (header.trace_count, header.sample_count) == (11, 640)
    assert header.sample_interval_ns == pytest.approx(0.015)


def test_recorded_line_names_its_errors(tmp_path):
    (tmp_path / "lines").mkdir()
    rows, truth = generate.write_area(tmp_path, SMALL)
    assert {row[2] for row in rows} == {entry["files"][axis]["file"] for entry in truth for axis in ("across", "along")}
    shifts = [entry["files"][axis]["time_zero_ns"] - 1.2 for entry in truth for axis in ("across", "along")]
    assert 0.01 < np.std(shifts) < 0.1


def test_soffit_is_mirrored_and_counts_depth_from_below():
    soffit = next(area for area in AREAS if area.surface == "soffit")
    origin, right, up = soffit.to_site([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    assert np.linalg.det([right - origin, up - origin]) == pytest.approx(-1.0)
    assert soffit.to_local([origin, right, up]) == pytest.approx(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    assert soffit.depth_from_surface(0.197, 0.012) == pytest.approx(0.051)


def test_sample_has_what_a_survey_meets():
    top = [area for area in AREAS if area.surface == "top"]
    assert len(top) >= 8
    assert [area.surface for area in AREAS].count("soffit") == [area.surface for area in AREAS].count("wall") == 1
    assert {area.line_spacing_m for area in AREAS} == {0.05, 0.10}
    overlapping = sum(
        other.contains(area.to_site(area.corners())).any() for area in top for other in top if area is not other
    )
    assert overlapping >= 3
    kinds = [item.kind for item in building.slab_objects() if scan_plan.near_any(item, top)]
    assert set(kinds) == set(KINDS) - {"unknown"}


def test_overlapping_rectangles_hold_the_same_stones():
    one = draw_stones((0.0, 0.0), (0.4, 0.4), 0.26, seed=1)
    other = draw_stones((0.3, 0.3), (0.9, 0.9), 0.26, seed=1)
    shared = {tuple(p) for p in one.positions_m} & {tuple(p) for p in other.positions_m}
    inside = np.all((one.positions_m[:, :2] >= 0.25), axis=1)
    assert len(shared) == inside.sum() > 50


def test_objects_in_a_scan_do_not_run_into_each_other():
    for area in AREAS:
        objects = area.objects_in_scan(building.wall_objects() if area.surface == "wall" else building.slab_objects())
        axes = []
        for item in objects:
            points = scan_plan.dense_polyline(item.vertices_m, 0.01) + np.array([0.0, 0.0, item.diameter_m / 2])
            inside = np.all((points[:, :2] > 0) & (points[:, :2] < area.size_m), axis=1)
            axes.append((item, points[inside]))
        for n, (item, points) in enumerate(axes):
            for other, others in axes[n + 1 :]:
                if len(points) and len(others):
                    apart = np.linalg.norm(points[:, None] - others[None], axis=2).min()
                    assert apart > (item.diameter_m + other.diameter_m) / 2 - 0.0005, (item.object_id, other.object_id)


def test_penetrations_cover_the_cases():
    slab = building.slab_objects()
    truth = {hole.penetration_id: penetrations.penetration_truth(hole, slab) for hole in penetrations.PENETRATIONS}
    scanned = [entry for entry in truth.values() if entry["wholly_scanned"]]
    assert sum(entry["gap_m"] > 0.035 for entry in scanned) >= 3
    assert sum(0.0 < entry["gap_m"] < 0.025 for entry in scanned) >= 2
    assert sum(entry["gap_m"] < 0.0 for entry in scanned) >= 2
    assert len(truth) - len(scanned) >= 2


def test_dxf_opens_in_ogr_with_its_cad_layers(tmp_path):
    from osgeo import ogr

    path = tmp_path / "plan.dxf"
    drawings.write_dxf(path)
    source = ogr.Open(str(path))
    layers, texts = set(), set()
    for feature in source.GetLayer(0):
        layers.add(feature.GetField("Layer"))
        texts.add(feature.GetField("Text"))
    assert {"axes", "axis_text", "columns", "walls", "openings", "slab_edge"} <= layers
    assert set("1234ABC") <= texts
    # DXF reference, $INSUNITS: 6 is metres.
    lines = [line.strip() for line in path.read_text(encoding="latin-1").splitlines()]
    assert lines[lines.index("$INSUNITS") + 2] == "6"


def test_scanned_plan_shows_columns_at_its_control_points(tmp_path):
    from osgeo import gdal

    picture, table = tmp_path / "plan.png", tmp_path / "control.csv"
    scanned_plan.write_png(picture)
    scanned_plan.write_control(table)
    source = gdal.Open(str(picture))
    grey = source.ReadAsArray().mean(axis=0)
    rows = list(csv.DictReader(table.open(encoding="utf-8")))
    assert len(rows) >= 4
    for row in rows:
        column, line = round(float(row["pixel_column"])), round(float(row["pixel_row"]))
        assert grey[line - 3 : line + 4, column - 3 : column + 4].mean() < 0.6 * np.median(grey)
    assert source.GetGeoTransform(can_return_null=True) is None
    # Width and height as the PNG specification (ISO/IEC 15948) stores them, after the signature and the chunk's name.
    assert struct.unpack(">II", picture.read_bytes()[16:24]) == scanned_plan.SIZE_PIXELS


def test_control_points_scatter_as_stated():
    residuals = []
    for number in range(60):
        random = np.random.default_rng(number)
        for _, local, site in scan_plan.control_points(AREAS[0], random):
            residuals.extend(site - AREAS[0].to_site([local])[0])
    # 480 draws: the standard deviation is known to 1 / sqrt(2 x 480).
    assert np.std(residuals) == pytest.approx(0.003, rel=4 / math.sqrt(2 * len(residuals)))


def test_cautions_on_the_map_are_legible_over_items(qgis_app, monkeypatch):
    monkeypatch.syspath_prepend(Path(building.__file__).parent)
    from build_project import describe
    from qgis.core import QgsProject, QgsReadWriteContext, QgsTextFormat
    from qgis.PyQt.QtXml import QDomDocument

    project = QgsProject()
    describe(project)
    assert "unknown, never clear" in project.readEntry("CopyrightLabel", "/Label")[0].replace("\n", " ")
    stored = QDomDocument()
    stored.setContent(project.readEntry("CopyrightLabel", "/Font")[0])
    text = QgsTextFormat()
    text.readXml(stored.documentElement(), QgsReadWriteContext())
    assert text.buffer().enabled()
    assert text.size() < 9
