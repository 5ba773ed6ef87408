"""The comparison of two results sees what it is there to see."""

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("same_results")


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """A folder with a GeoPackage, a GeoTIFF, a table and a page, as a run leaves them."""
    import numpy as np

    from inslab.processing.site.crs import local_crs_wkt
    from inslab.processing.site.geotiff import Band, GridWriter
    from inslab.processing.site.grid import SiteGrid
    from inslab.processing.store.geopackage import write_geopackage
    from inslab.processing.store.layer import Layer

    folder = tmp_path_factory.mktemp("result")
    rows = [((float(n), 2.0), {"name": f"bar {n}", "depth_m": 0.1 * n}) for n in range(3)]
    write_geopackage(
        folder / "survey.gpkg",
        [Layer("items", "Point", {"name": str, "depth_m": float}, rows)],
        local_crs_wkt(),
        {"INTERVAL_NS": "0.05"},
    )
    grid = SiteGrid.around(np.array([[0.0, 0.0], [0.5, 0.3]]), 0.1)
    with GridWriter(folder / "slices.tif", grid, [Band("0.000-0.010 m", "dB")], local_crs_wkt()) as writer:
        writer.write(np.arange(grid.rows * grid.columns, dtype=np.float32).reshape(1, grid.rows, grid.columns))
    (folder / "points.csv").write_text("a,b\n1,2\n")
    (folder / "report.html").write_text("<p>two bars</p>")
    return folder


@pytest.fixture
def copy(result, tmp_path):
    return Path(shutil.copytree(result, tmp_path / "copy"))


def compare(one, other, *options):
    run = subprocess.run([sys.executable, SCRIPT, *options, one, other], capture_output=True, text=True, check=False)
    return run.returncode, run.stdout


def change(path, sql):
    with closing(sqlite3.connect(path)) as connection:
        for trigger in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {trigger[0]}")  # they call functions that only GDAL has
        connection.execute(sql)
        connection.commit()


def test_a_copy_is_the_same(result, copy):
    assert compare(result, copy) == (0, "The results are the same.\n")


@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("UPDATE items SET depth_m = depth_m + 1e-16 WHERE fid = 2", "items.depth_m: 1 of 3 rows"),
        ("UPDATE items SET depth_m = 0 WHERE fid = 1", ""),  # 0.0 is what it was
        ("UPDATE items SET geom = x'00' WHERE fid = 1", "items.geom: 1 of 3"),
        ("DELETE FROM items WHERE fid = 3", "3 rows before, 2 after"),
        ("ALTER TABLE items ADD COLUMN more TEXT", "with more TEXT"),
        ("UPDATE items SET name = NULL WHERE fid = 3", "items.name"),
        (
            "UPDATE gpkg_geometry_columns SET geometry_type_name = 'LINESTRING', z = 1",
            "items is ('features', 'LINESTRING', 1",
        ),
        (
            "UPDATE gpkg_spatial_ref_sys SET definition = replace(definition, '6378137', '6378138')",
            "items is ('features'",
        ),
        ("UPDATE gpkg_metadata SET metadata = replace(metadata, '0.05', '0.06')", "its metadata differ"),
    ],
)
def test_a_change_of_one_bit_in_a_table_is_seen(result, copy, sql, what):
    change(copy / "survey.gpkg", sql)
    code, said = compare(result, copy, "--words")
    assert code == (1 if what else 0), said
    assert what in said


def test_other_words_count_unless_they_are_free(result, copy):
    change(copy / "survey.gpkg", "UPDATE items SET name = 'rod ' || fid")
    assert compare(result, copy)[0] == 1
    code, said = compare(result, copy, "--words")
    assert code == 0
    assert "items.name: 3 of 3 rows differ (bar 0 -> rod 1" in said


def test_pixels_and_missing_files_are_seen_and_pages_only_named(result, copy):
    import rasterio

    (copy / "report.html").write_text("<p>two rods</p>")
    code, said = compare(result, copy)
    assert code == 0
    assert "shown: report.html differs" in said
    with rasterio.open(copy / "slices.tif", "r+") as raster:
        cells = raster.read(1)
        cells[1, 2] += 1
        raster.write(cells, 1)
    (copy / "points.csv").unlink()
    code, said = compare(result, copy)
    assert code == 1
    assert "1 pixels of band 1 differ, by up to 1" in said
    assert "points.csv is only before" in said


def test_a_folder_that_is_not_there_is_said(result, tmp_path):
    assert compare(result, tmp_path / "none")[0] == 2
