"""Penetrations against a survey.gpkg: which items and areas count, what is refused, how long it takes."""

import time

import grounds
import numpy as np
import pytest
from obstacles import RULES

from inslab.processing.common.errors import ProcessingError, SurveyError
from inslab.processing.penetrations.ground import choose_level, find_ground, read_tables
from inslab.processing.penetrations.model import Penetrations
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.site.geotiff import Band, GridWriter
from inslab.processing.site.grid import SiteGrid
from inslab.processing.steps.checkpenetrations import check_penetrations_step
from inslab.processing.steps.shared.verdict_layers import write_layers
from inslab.processing.store.geopackage import read_layer, replace_layers, write_geopackage
from inslab.processing.store.layer import Layer
from inslab.processing.store.schema import PENETRATION_VERDICTS


@pytest.fixture
def survey(tmp_path):
    return grounds.write_survey(tmp_path / "survey.gpkg")


def change_items(survey, change):
    """Writes the items anew, each row passed through `change`."""
    rows = [(line, change(dict(row))) for line, row in read_layer(survey, "items")]
    kinds = {name: float if name.startswith(("p_", "sigma", "conf", "kind_c")) else str for name in rows[0][1]}
    replace_layers(survey, [Layer("items", "LineStringZ", kinds, rows)], local_crs_wkt())


def check(survey, tmp_path, places, sides=("top", None), depth=0.2, diameter=0.012):
    holes = Penetrations.upright(places, diameter, depth, 0.003)
    given = [{"penetration_id": name} for name in holes.ids]
    sides = [sides] * len(holes) if isinstance(sides, tuple) else sides
    return check_penetrations_step(survey, holes, sides, given, {"penetration_id": str}, tmp_path / "v.gpkg", RULES)


def test_other_surfaces_do_not_count(survey, tmp_path):
    """The bar in the soffit at y 1.0 is in the way from below, not from the top."""
    top, soffit = check(survey, tmp_path, [[1.2, 1.0]] * 2, [("top", None), ("soffit", None)])
    assert (top.verdict, soffit.verdict) == ("clear", "hits")
    assert soffit.governing_item == "S1"


@pytest.mark.parametrize(
    ("status", "expected"), [("detected", "hits"), ("verified", "hits"), ("refuted", "clear"), ("superseded", "clear")]
)
def test_status_of_an_item(survey, tmp_path, status, expected):
    change_items(survey, lambda row: {**row, "status": status} if row["item_id"] == "T1" else row)
    assert check(survey, tmp_path, [[1.2, grounds.TENDON_Y]])[0].verdict == expected


def test_an_item_that_may_be_a_tendon_counts_as_one(survey, tmp_path):
    change_items(survey, lambda row: {**row, "p_tendon": 0.1})
    ground = find_ground(read_tables(survey), "Level 1", "top", RULES)
    assert {one.rule.largest_diameter_m for one in ground.pieces.obstacles} == {RULES["tendon"].largest_diameter_m}


def test_what_is_read(survey):
    ground = find_ground(read_tables(survey), "Level 1", "top", RULES)
    assert {one.item_id for one in ground.pieces.obstacles} == {*(f"B{n:02d}" for n in range(1, 16)), "D1", "D2", "T1"}
    assert [(one.area_id, one.line_directions) for one in ground.known.pieces] == [("A1", 2), ("A2", 1)]
    assert list(ground.known.unplaced) == ["A3"]
    assert ground.known.strips  # the dense bars
    assert np.isnan(ground.known.base(np.array([[1.0, 1.0]]))[0]).all()


def test_the_slab_base_is_read_at_its_place(survey, tmp_path):
    grid = SiteGrid(100, 200, 40, 30, 0.01)  # 1.0 to 1.4 m by 1.7 to 2.0 m
    cube = np.stack([np.broadcast_to(0.2 + np.arange(40) / 1000, (30, 40)), np.full((30, 40), 0.004)])
    with GridWriter(
        tmp_path / "base" / "Level 1.tif", grid, [Band("thickness", "m"), Band("sigma", "m")], local_crs_wkt()
    ) as file:
        file.write(cube.astype(np.float32))
    fields = dict.fromkeys(("path", "content", "level", "surface", "area_id"), str)
    row = {"path": "base/Level 1.tif", "content": "base", "level": "Level 1", "surface": "top", "area_id": ""}
    replace_layers(survey, [Layer("rasters", None, fields, [(None, row)])], local_crs_wkt())
    base = find_ground(read_tables(survey), "Level 1", "top", RULES).known.base
    thickness, sigma = base(np.array([[1.005, 1.705], [1.255, 1.995], [1.5, 1.8], [1.2, 1.0]]))
    np.testing.assert_allclose(thickness[:2], [0.200, 0.225], atol=1e-4)
    np.testing.assert_allclose(sigma[:2], 0.004, atol=1e-4)
    assert np.isnan(thickness[2:]).all()


def test_levels_are_named(survey):
    assert choose_level(read_tables(survey), "top") == "Level 1"
    with pytest.raises(ProcessingError, match=r"Level 9 has no scan area.*levels that do: Level 1"):
        choose_level(read_tables(survey), "top", "Level 9")
    with pytest.raises(ProcessingError, match="no scan area on the surface wall"):
        choose_level(read_tables(survey), "wall")


def test_several_levels_must_be_told_apart(survey):
    rows = read_layer(survey, "scan_areas")
    rows.append((None, {**rows[0][1], "area_id": "B1", "level": "Level 2"}))
    kinds = {name: float if name == "centre_frequency_mhz" else str for name in rows[0][1]}
    replace_layers(survey, [Layer("scan_areas", "Polygon", kinds, rows)], local_crs_wkt())
    with pytest.raises(ProcessingError, match="several levels; choose one of them: Level 1, Level 2"):
        choose_level(read_tables(survey), "top")


def test_a_survey_without_items_is_refused(tmp_path):
    path = tmp_path / "empty.gpkg"
    areas = Layer("scan_areas", "Polygon", dict.fromkeys(("area_id", "level", "surface", "status"), str), [])
    write_geopackage(path, [areas], local_crs_wkt())
    with pytest.raises(SurveyError, match="run 'Detect items'"):
        find_ground(read_tables(path), "Level 1", "top", RULES)


def test_an_output_of_another_format_is_refused(survey, tmp_path):
    with pytest.raises(ProcessingError, match=r"name ends in \.gpkg"):
        write_layers(tmp_path / "v.shp", [], "")


def test_ten_thousand_holes_in_ten_seconds(survey, tmp_path):
    random = np.random.default_rng(1)
    places = np.column_stack([random.uniform(-0.1, 4.1, 10_000), random.uniform(-0.1, 2.1, 10_000)])
    start = time.process_time()
    verdicts = check(survey, tmp_path, places)
    assert time.process_time() - start < 10.0
    assert {one.verdict for one in verdicts} == {"clear", "too_close", "hits", "unknown"}
    assert len(read_layer(tmp_path / "v.gpkg", PENETRATION_VERDICTS.name)) == 10_000
