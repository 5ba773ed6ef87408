"""Layers in and out of a GeoPackage."""

import sqlite3
from contextlib import ExitStack, closing

import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError, SurveyError
from inslab.processing.common.gdal_failures import FIXED_DATE, GdalFailure, quiet_gdal
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.store.geopackage import read_layer, read_metadata, replace_layers, write_geopackage
from inslab.processing.store.layer import Layer, RowsOf
from inslab.processing.store.replacing import is_open, replacing

pytest.importorskip("osgeo")
CRS = local_crs_wkt()
ITEMS = Layer(
    "items",
    "LineStringZ",
    {"name": str, "count": int, "size": float, "used": bool},
    [
        (
            np.array([[0.0, 0.0, -0.04], [1.0, 0.5, -0.05]]),
            {"name": "ä β 'x'", "count": np.int64(3), "size": 0.5, "used": True},
        ),
        (None, {"name": None, "size": float("nan"), "used": False}),
    ],
    "What was found.",
)
PLACES = Layer("places", "Polygon", {"area_id": str}, [([[[0, 0], [2, 0], [2, 1], [0, 0]]], {"area_id": "A1"})])
LOG = Layer("log", None, {"step": str}, [(None, {"step": "read"})])


def test_what_is_written_is_read_back(tmp_path):
    path = tmp_path / "übersicht.gpkg"
    write_geopackage(path, [ITEMS, PLACES, LOG], CRS, {"KEY": "/a/ö b"})
    rows = read_layer(path, "items")
    assert rows[0][0] == pytest.approx(ITEMS.rows[0][0])
    assert rows[0][1] == {"name": "ä β 'x'", "count": 3, "size": 0.5, "used": 1}
    assert rows[1][0] is None
    assert rows[1][1] == {"name": None, "count": None, "size": None, "used": 0}
    assert read_layer(path, "places")[0][0][0] == pytest.approx(np.array([[0, 0], [2, 0], [2, 1], [0, 0]]))
    assert read_layer(path, "log") == [(None, {"step": "read"})]
    assert read_layer(path, "nothing") == []
    assert read_metadata(path, "KEY") == "/a/ö b"
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_tables_are_as_the_standard_wants_them(tmp_path):
    """OGC 12-128r15 (GeoPackage 1.2.1): application id GPKG, user version 10200, contents and srs tables."""
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [ITEMS, LOG], CRS)
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
        assert file.execute("PRAGMA user_version").fetchone()[0] == 10200
        contents = file.execute("SELECT table_name, data_type, description, srs_id FROM gpkg_contents").fetchall()
        assert contents[0][:3] == ("items", "features", "What was found.")
        assert contents[1][1] == "attributes"
        # 0 and -1 are the standard's two kinds of 'undefined', 99999 GDAL's own
        assert contents[0][3] not in (0, -1, 99999)
        name = file.execute("SELECT srs_name FROM gpkg_spatial_ref_sys WHERE srs_id = ?", contents[0][3:]).fetchone()
        assert name == ("Site grid (local, not tied)",)
        kind = file.execute("SELECT geometry_type_name, z FROM gpkg_geometry_columns").fetchone()
        assert kind == ("LINESTRING", 1)


def test_same_layers_give_the_same_bytes(tmp_path, monkeypatch):
    write_geopackage(tmp_path / "a.gpkg", [ITEMS, LOG], CRS, {"KEY": "x"})
    monkeypatch.setattr("os.getpid", lambda: 4242)
    write_geopackage(tmp_path / "b.gpkg", [ITEMS, LOG], CRS, {"KEY": "x"})
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as file:
        assert file.execute("SELECT DISTINCT last_change FROM gpkg_contents").fetchall() == [(FIXED_DATE,)]


def test_one_layer_is_replaced_and_the_others_stay(tmp_path):
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [ITEMS, PLACES, LOG], CRS, {"KEY": "x"})
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE of_someone_else (a)")
        file.commit()
    replace_layers(path, [Layer("items", "LineStringZ", {"kind": str}, []), Layer("more", None, {"a": int}, [])], CRS)
    assert read_layer(path, "items") == []
    assert len(read_layer(path, "places")) == 1
    assert read_metadata(path, "KEY") == "x"
    with closing(sqlite3.connect(path)) as file:
        assert [row[1] for row in file.execute("PRAGMA table_info(items)")] == ["fid", "geom", "kind"]
        assert file.execute("SELECT COUNT(*) FROM of_someone_else").fetchone() == (0,)
        assert file.execute("SELECT COUNT(*) FROM gpkg_spatial_ref_sys WHERE srs_id >= 100000").fetchone() == (1,)


def test_a_failure_leaves_the_file_as_it_was(tmp_path):
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [ITEMS], CRS)
    before = path.read_bytes()
    broken = Layer("items", "LineStringZ", {"name": str}, [(None, {"name": "x"}), (None, {"nmae": "x"})])
    for write in (replace_layers, write_geopackage):
        with pytest.raises(KeyError, match="nmae"):
            write(path, [broken], CRS)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.gpkg"]


@pytest.mark.parametrize("write", [replace_layers, write_geopackage])
def test_a_file_that_may_not_grow_is_refused_with_the_reason(tmp_path, write):
    """A file system's own limit: https://man7.org/linux/man-pages/man2/setrlimit.2.html, RLIMIT_FSIZE."""
    resource = pytest.importorskip("resource")
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [LOG], CRS)
    before = path.read_bytes()
    rows = [(None, {"step": "x" * 1000})] * 300
    _, most = earlier = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, most))
    try:
        with pytest.raises(ProcessingError, match=r"s\.gpkg cannot be written \(.*disk I/O error.*\); choose another"):
            write(path, [Layer("log", None, {"step": str}, rows)], CRS)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, earlier)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.gpkg"]


@pytest.mark.parametrize("sql", ["DELETE FROM items WHERE fid = 1", "DROP TABLE log"])
def test_what_lacks_something_when_it_is_read_back_is_never_moved(tmp_path, sql):
    path = tmp_path / "s.gpkg"

    def lose():
        with replacing(path, {"items": 2, "log": 1}) as part:
            write_geopackage(part, [PLACES, Layer("items", None, {"a": int}, [(None, {"a": 1})] * 2), LOG], CRS)
            with closing(sqlite3.connect(part)) as file:
                file.execute(sql)
                file.commit()

    with pytest.raises(ProcessingError, match=r"s\.gpkg cannot be written"):
        lose()
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_earlier_file_is_named_as_such(tmp_path):
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [LOG, Layer("long", None, {"step": str}, [(None, {"step": "x" * 1000})] * 300)], CRS)
    before = bytearray(path.read_bytes())
    before[-40_960:-20_480] = b"x" * 20_480
    path.write_bytes(before)
    with pytest.raises(SurveyError, match=r"s\.gpkg cannot be read \(.*\); choose the survey\.gpkg"):
        replace_layers(path, [LOG], CRS)
    assert path.read_bytes() == before
    write_geopackage(path, [LOG], CRS)  # which needs nothing of it
    assert len(read_layer(path, "log")) == 1


@pytest.mark.parametrize("fault", [TypeError, AttributeError, RuntimeError])
def test_faults_of_our_own_are_not_told_as_a_file_that_cannot_be_written(tmp_path, fault):
    def row_of(_):
        raise fault("ours")

    with pytest.raises(fault, match="ours"):
        write_geopackage(tmp_path / "s.gpkg", [Layer("log", None, {"step": str}, RowsOf([1], row_of))], CRS)
    assert list(tmp_path.iterdir()) == []


def test_what_gdal_raises_where_exceptions_are_on_is_its_reason():
    """GDAL before 3.7, once a plugin called `UseExceptions`, raises what its last error says."""
    from osgeo import gdal

    def fail():
        with quiet_gdal():
            gdal.Error(gdal.CE_Failure, 1, "no room")
            raise RuntimeError("no room")

    with pytest.raises(GdalFailure, match="no room"):
        fail()


def test_what_is_no_geopackage_is_named(tmp_path):
    with pytest.raises(SurveyError, match=r"gone\.gpkg cannot be read"):
        read_layer(tmp_path / "gone.gpkg", "items")
    (tmp_path / "text.gpkg").write_text("hello")
    with pytest.raises(SurveyError, match=r"text\.gpkg is not a GeoPackage"):
        replace_layers(tmp_path / "text.gpkg", [LOG], CRS)
    (tmp_path / "spoiled.gpkg").write_bytes(b"SQLite format 3\x00" + b"x" * 2000)
    for use in (lambda path: read_layer(path, "items"), lambda path: replace_layers(path, [LOG], CRS)):
        with pytest.raises(SurveyError, match=r"spoiled\.gpkg cannot be read"):
            use(tmp_path / "spoiled.gpkg")


def test_a_place_that_takes_no_file_is_said():
    with pytest.raises(ProcessingError, match=r"/proc/a\.gpkg cannot be written .*choose another place"):
        write_geopackage("/proc/a.gpkg", [], local_crs_wkt())


def test_a_program_that_has_the_file_open_goes_on_with_the_new_content(tmp_path):
    """Like QGIS once a layer was edited: a connection in write-ahead mode (https://www.sqlite.org/wal.html) stays open."""
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [ITEMS, LOG], CRS)
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("UPDATE log SET step = 'edited'")
        other.commit()
        assert is_open(path)
        assert read_layer(path, "log") == [(None, {"step": "edited"})]
        replace_layers(path, [PLACES], CRS)
        assert other.execute("SELECT area_id FROM places").fetchall() == [("A1",)]
        assert other.execute("SELECT step FROM log").fetchall() == [("edited",)]
        other.execute("UPDATE log SET step = 'twice'")
        other.commit()
        assert other.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert read_layer(path, "log") == [(None, {"step": "twice"})]
    assert len(read_layer(path, "places")) == 1
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.gpkg"]


def test_a_file_that_is_being_written_to_is_left_alone(tmp_path):
    path = tmp_path / "s.gpkg"
    write_geopackage(path, [LOG], CRS)
    with closing(sqlite3.connect(path)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE log SET step = 'edited'")
        with pytest.raises(ProcessingError, match="is being written to by another program"):
            replace_layers(path, [ITEMS], CRS)
        other.commit()
    assert read_layer(path, "log") == [(None, {"step": "edited"})]
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.gpkg"]


def test_exceptions_that_another_plugin_switched_on_change_nothing(tmp_path):
    """With them on, GDAL 3.10 also raises at what PROJ only logs while a tied CRS is written."""
    from osgeo import gdal, ogr, osr

    from inslab.processing.site.crs import tied_crs_wkt
    from inslab.processing.site.tie import GridTie

    modules = [module for module in (gdal, ogr, osr) if hasattr(module, "ExceptionMgr")]
    if not modules:
        pytest.skip("this GDAL cannot switch exceptions for one block")
    wkt = tied_crs_wkt("Grid", "EPSG:25832", GridTie(691000.0, 5335000.0, 0.4, 1.0))
    with ExitStack() as stack:
        for module in modules:
            stack.enter_context(module.ExceptionMgr(useExceptions=True))
        write_geopackage(tmp_path / "tied.gpkg", [ITEMS], wkt)
        assert len(read_layer(tmp_path / "tied.gpkg", "items")) == 2
        (tmp_path / "none.gpkg").write_bytes(b"no GeoPackage at all")
        with pytest.raises(SurveyError):
            read_layer(tmp_path / "none.gpkg", "items")
