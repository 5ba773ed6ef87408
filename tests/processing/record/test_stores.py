"""The two stores: layers that GIS programs read, all or nothing when killed, and writers that wait for each other."""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from records import mat, merge, rows, survey

from inslab.processing.common.errors import ProcessingError
from inslab.processing.record.open_store import open_store
from inslab.processing.record.schema import TABLES
from inslab.processing.record.store_postgis import is_connection, split_schema
from inslab.processing.store.geopackage import read_layer

TESTS = Path(__file__).resolve().parents[2]
KILLS = int(os.environ.get("INSLAB_KILLS", "4"))  # more by hand, see docs/record.md

# Merges a survey of many bars into a record in a process of its own; says when it starts, so that it can be stopped half way.
WORKER = """
import sys
sys.path[:0] = [{tests!r}, {helpers!r}]
import conftest
from records import mat, merge, survey
from inslab.processing.record.open_store import open_store
record, start, count, on = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
content = survey(mat(count, y0=start, spacing=0.1), on, (0.0, 0.0), (4.0, start + 0.1 * count))
store = open_store(record)
print("ready", flush=True)
merge(store, content, "2033-01-01")
print("done", flush=True)
"""


def worker(record, start, count, on):
    code = WORKER.format(tests=str(TESTS), helpers=str(TESTS / "helpers"))
    words = [sys.executable, "-c", code, record, str(start), str(count), on]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def everything(record):
    """All rows of a record."""
    with open_store(record).session() as session:
        return json.dumps({name: session.read(table) for name, table in TABLES.items()}, sort_keys=True)


def test_what_is_written_is_read_exactly(store):
    merge(store, survey(mat(), "2031-05-04"))
    row = rows(store, "observations")["S1/A1-2"]
    assert row["geom"] == [[0.3, 0.7, -0.05], [3.5, 0.7, -0.05]]
    assert row["p_bar"] == 0.9
    assert rows(store, "coverage")["S1/1"]["geom"] == [[[0, 0], [4, 0], [4, 3], [0, 3], [0, 0]]]
    assert rows(store, "about")["schema_version"]["value"] == "1"


def test_a_killed_merge_leaves_the_record_before_or_after(record, tmp_path):
    """SIGKILL at random instants of a merge; what the record holds then is exactly one of the two states."""
    merge(open_store(record), survey(mat(), "2031-05-04"))
    before = everything(record)
    clock = time.perf_counter()
    first = worker(record, 5.0, 60, "2032-01-01")
    first.stdout.readline()
    ready = time.perf_counter()
    out, err = first.communicate()
    assert out.strip() == "done", err
    takes = time.perf_counter() - ready
    after = everything(record)
    assert after != before
    print(f"a merge takes {takes:.2f} s, {ready - clock:.2f} s to start")
    chance = random.Random(7)  # noqa: S311
    found = []
    for _ in range(KILLS):
        again = _fresh(record, tmp_path)
        merge(open_store(again), survey(mat(), "2031-05-04"))
        assert everything(again) == before
        process = worker(again, 5.0, 60, "2032-01-01")
        process.stdout.readline()
        time.sleep(chance.uniform(0.4, 1.1) * takes)  # the first part only computes
        process.send_signal(signal.SIGKILL)
        process.communicate()
        state = everything(again)
        assert state in (before, after)
        found.append(state == after)
        merge(
            open_store(again), survey(mat(60, y0=5.0, spacing=0.1), "2032-01-01", (0.0, 0.0), (4.0, 11.0)), "2033-01-01"
        )
        assert everything(again) == after
    print(f"{found.count(False)} before, {found.count(True)} after")


def _fresh(record, folder):
    if is_connection(record):
        words, schema = split_schema(record)
        return f"{words} schema={schema}_{random.randrange(10**9)}"  # noqa: S311
    return str(folder / f"killed-{random.randrange(10**9)}.gpkg")  # noqa: S311


def test_two_writers_at_once_lose_nothing(record):
    """Two processes start on a record that is not there yet, and each merges surveys of its own."""
    processes = [
        worker(record, 20.0 * number, 20, f"203{number}-0{month}-01") for number in (1, 2) for month in (1, 2, 3)
    ]
    for process in processes:
        process.stdout.readline()
    for process in processes:
        out, err = process.communicate(timeout=120)
        assert out.strip() == "done", err
    store = open_store(record)
    items, surveys = rows(store, "items"), rows(store, "surveys")
    assert len(surveys) == 6
    assert len(items) == 40
    assert all(item["observation_count"] == 3 for item in items.values())
    revisions = rows(store, "revisions")
    assert sorted(revisions, key=int) == [str(number) for number in range(1, 7)]
    assert len(rows(store, "changes")) == sum(row["change_count"] for row in revisions.values())


def test_a_failed_merge_leaves_the_record_as_it_was(store, monkeypatch):
    merge(store, survey(mat(), "2031-05-04"))
    before = rows(store, "changes")
    from inslab.processing.record import history

    def fail(*_):
        raise RuntimeError("a fault")

    monkeypatch.setattr(history, "_enter", fail)  # after all rows were written
    with pytest.raises(RuntimeError):
        merge(store, survey(mat(3), "2033-01-01"))
    monkeypatch.undo()
    assert rows(store, "changes") == before
    assert len(rows(store, "surveys")) == 1


def test_a_record_is_tied_later_without_moving(record):
    import pyproj
    from osgeo import ogr

    from inslab.processing.record.history import Revision, change
    from inslab.processing.site.crs import GridTie, tied_crs_wkt

    store = open_store(record)
    merge(store, survey(mat(), "2031-05-04"))
    before = rows(store, "items")
    tied = tied_crs_wkt("Plant", "EPSG:32639", GridTie.from_degrees(611267.2865, 3046565.8255, 45.0, 0.9997728332))
    change(store, Revision("2031-05-05", "", "tied"), lambda book: None, crs_wkt=tied)
    assert rows(store, "items") == before
    assert rows(store, "about")["crs_wkt"]["value"] == tied
    if is_connection(record):
        with store.session() as session:
            found = session.execute("SELECT srtext FROM spatial_ref_sys WHERE srid = %s", (session.srid,)).fetchone()[0]
            name = session.name_of(TABLES["items"])
            place = session.execute(f"SELECT DISTINCT ST_SRID(geom) FROM {name}").fetchall()  # noqa: S608
            assert place == [(session.srid,)]
    else:
        dataset = ogr.Open(record)
        found = dataset.GetLayerByName("items").GetSpatialRef().ExportToWkt(["FORMAT=WKT2_2018"])
        dataset = None
    # The same point comes out in the national grid: by PROJ, from what the store says and from what was asked for.
    x, y = (
        pyproj.Transformer.from_crs(pyproj.CRS.from_wkt(wkt), "EPSG:32639", always_xy=True).transform(10.0, 20.0)
        for wkt in (found, tied)
    )
    assert x == pytest.approx(y, abs=1e-6)
    merge(store, survey(mat(3), "2031-06-04"))  # and it is written to as before
    assert len(rows(store, "items")) == 4


def test_the_geopackage_is_one_that_gdal_reads(tmp_path):
    path = tmp_path / "building.gpkg"
    merge(open_store(path), survey(mat(), "2031-05-04"))
    assert [values["item_id"] for _, values in read_layer(path, "items")] == ["I1", "I2", "I3", "I4"]
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        # OGC 12-128r18, annex F.3: the spatial index holds one row for each geometry.
        assert file.execute("SELECT count(*) FROM rtree_items_geom").fetchone() == (4,)
        extent = file.execute("SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'items'")
        assert extent.fetchone() == pytest.approx((0.3, 0.5, 3.5, 1.1))


def test_items_hold_every_field_of_a_surveys_items():
    from inslab.processing.store.schema import ITEMS

    columns = TABLES["items"].columns
    assert {name: columns.get(name) for name in ITEMS.columns} == ITEMS.columns


def test_every_table_and_field_is_described():
    for table in TABLES.values():
        assert table.description
        assert all(field.says for field in table.fields)
        assert table.fields[0].kind is str
        assert len(table.columns) == len(table.fields)


def test_words_of_a_connection():
    assert is_connection("host=/tmp dbname=building schema=job1")
    assert not is_connection("/jobs/building.gpkg")
    assert split_schema("host=h dbname=b schema='level 2' user=u") == ("host=h dbname=b  user=u", "level 2")
    assert split_schema("dbname=b")[1] == "inslab_record"


def test_bad_places_are_told_in_a_sentence(tmp_path, postgis):
    other = tmp_path / "other.gpkg"
    other.write_text("no")
    with pytest.raises(ProcessingError, match="is not a GeoPackage"), open_store(other).session():
        pass
    with closing(sqlite3.connect(tmp_path / "empty.gpkg")) as file:
        file.execute("CREATE TABLE a (b)")
    with pytest.raises(ProcessingError, match="but not a record"), open_store(tmp_path / "empty.gpkg").session():
        pass
    with pytest.raises(ProcessingError, match="no record at"), open_store(tmp_path / "none.gpkg").session():
        pass
    with pytest.raises(ProcessingError, match=r"ends in \.gpkg"):
        open_store(tmp_path / "record.txt")
    with pytest.raises(ProcessingError, match="cannot be read or written"):
        open_store("host=/nowhere dbname=none schema=a").exists()
    with pytest.raises(ProcessingError, match="not those of a record"):
        open_store(f"{postgis} schema=public").exists()
    with pytest.raises(ProcessingError, match="Choose the record"):
        open_store("")


def test_a_password_never_stands_in_a_message(postgis):
    store = open_store("host=/nowhere dbname=none user=u password=secret schema=a")
    with pytest.raises(ProcessingError) as told:
        store.exists()
    assert "secret" not in str(told.value)
    assert "secret" not in store.name


def test_the_page_of_fields_is_that_of_the_schema():
    from inslab.processing.store.table_schema import as_markdown

    page = (TESTS.parent / "docs" / "record.md").read_text(encoding="utf-8")
    assert page.endswith(as_markdown(TABLES.values()))


def test_a_tied_record_is_made_where_gdal_raises(tmp_path):
    """As in newer QGIS, which switches GDAL's exceptions on."""
    gdal, ogr, osr = (pytest.importorskip(f"osgeo.{name}") for name in ("gdal", "ogr", "osr"))
    if not hasattr(gdal, "ExceptionMgr"):
        pytest.skip("GDAL before 3.7 has exceptions for the whole program only")
    from inslab.processing.record.store_geopackage import _make_empty
    from inslab.processing.site.crs import GridTie, tied_crs_wkt

    wkt = tied_crs_wkt("Hall", "EPSG:25832", GridTie.from_degrees(691000.0, 5335000.0, 30.0))
    with gdal.ExceptionMgr(), ogr.ExceptionMgr(), osr.ExceptionMgr():
        _make_empty(tmp_path / "record.gpkg", wkt)
    assert (tmp_path / "record.gpkg").is_file()
