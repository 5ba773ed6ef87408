"""A record that was made before a kind was known: its tables lack the kind's column. Any other column must be there."""

import sqlite3
from contextlib import closing

import pytest
from records import mat, merge, rows, survey

from inslab.processing.common.errors import ProcessingError
from inslab.processing.record.history import Revision, change
from inslab.processing.record.open_store import open_store
from inslab.processing.record.schema import ITEMS, OBSERVATIONS, TABLES

LATEST = "p_plastic_conduit"  # as if this kind had come last
OF_KINDS = (ITEMS, OBSERVATIONS)


def lose(store, table, column):
    with store.session(writing=True) as session:
        session.execute(f'ALTER TABLE {session.name_of(table)} DROP COLUMN "{column}"')


def stored_columns(store, table):
    with store.session() as session:
        return session._stored_columns(table)


@pytest.fixture
def older(store):
    merge(store, survey(mat(), "2031-05-04"))
    for table in OF_KINDS:
        lose(store, table, LATEST)
    return store


def set_note(text):
    def work(book):
        for row in book.rows("items"):
            book.put("items", dict(row, note=text))

    return work


def test_it_is_read_as_a_kind_that_nobody_thought_of(older):
    for table in OF_KINDS:
        found = rows(older, table.name)
        assert found
        assert all(row[LATEST] == 0.0 and row["p_bar"] for row in found.values())
        assert all(set(row) == {*table.columns, "geom"} for row in found.values())
        assert LATEST not in stored_columns(older, table)


def test_where_nothing_changes_nothing_is_written(older):
    with older.session(writing=True):
        pass
    assert LATEST not in stored_columns(older, ITEMS)


def test_what_is_written_first_adds_the_column(older):
    before = rows(older, "items")
    change(older, Revision("2031-06-01", "", "noted"), set_note("seen"))
    assert LATEST in stored_columns(older, ITEMS)
    assert rows(older, "items") == {key: dict(row, note="seen") for key, row in before.items()}
    with older.session() as session:
        (stored,) = session.execute(f"SELECT DISTINCT {LATEST} FROM {session.name_of(ITEMS)}").fetchall()  # noqa: S608
    assert stored == (0.0,)
    merge(older, survey(mat(3), "2033-05-04"))
    seen = [row for row in rows(older, "observations").values() if row["outcome"] == "seen"]
    assert {round(row[LATEST], 6) for row in seen} == {0.0, 0.025}


def test_a_change_that_fails_adds_no_column(older, monkeypatch):
    from inslab.processing.record import history

    def fail(*_):
        raise RuntimeError("a fault")

    monkeypatch.setattr(history, "_enter", fail)  # after all rows were written
    with pytest.raises(RuntimeError):
        history.change(older, Revision("2031-06-01", "", "noted"), set_note("seen"))
    monkeypatch.undo()
    assert LATEST not in stored_columns(older, ITEMS)


@pytest.mark.parametrize("record", ["postgis"], indirect=True)
def test_an_added_column_is_described_in_the_database(older):
    """A GeoPackage describes its tables only."""
    change(older, Revision("2031-06-01", "", "noted"), set_note("seen"))
    with older.session() as session:
        name = session.name_of(ITEMS)
        sql = (
            "SELECT col_description(attrelid, attnum) FROM pg_attribute WHERE attrelid = %s::regclass AND attname = %s"
        )
        found = session.execute(sql, (name, LATEST)).fetchone()[0]
    assert found == next(field.says for field in ITEMS.fields if field.name == LATEST)


@pytest.mark.parametrize("writing", [False, True])
@pytest.mark.parametrize(
    ("table", "column"), [("items", "reasons"), ("coverage", "geom"), ("changes", "after"), ("scan_areas", "fit")]
)
def test_any_other_column_must_be_there(store, table, column, writing):
    merge(store, survey(mat(), "2031-05-04"))
    with store.session(writing=True) as session:  # SQLite drops no column that a trigger names, as it does geom
        session.execute(f'ALTER TABLE {session.name_of(TABLES[table])} RENAME COLUMN "{column}" TO "another"')
    with pytest.raises(ProcessingError, match=f"its table {table} has no column {column}"), store.session(writing):
        pass


def test_a_record_that_does_not_say_its_version_is_refused(store):
    merge(store, survey(mat(), "2031-05-04"))
    lose(store, TABLES["about"], "value")
    with pytest.raises(ProcessingError, match="another version of Inslab"), store.session():
        pass


def test_programs_that_have_the_geopackage_open_go_on(tmp_path):
    """GDAL, by which QGIS reads and edits it, with its journal on; and the file stays a whole GeoPackage."""
    from osgeo import ogr

    path = tmp_path / "building.gpkg"
    store = open_store(path)
    merge(store, survey(mat(), "2031-05-04"))
    for table in OF_KINDS:
        lose(store, table, LATEST)
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA journal_mode = WAL")  # as QGIS does
    dataset = ogr.Open(str(path), 1)
    layer = dataset.GetLayerByName("items")
    assert layer.GetNextFeature().GetField("item_id") == "I1"  # half way through
    change(store, Revision("2031-06-01", "", "noted"), set_note("seen"))
    assert [row.GetField("item_id") for row in layer] == ["I1", "I2", "I3", "I4"]
    feature = layer.GetFeature(2)
    assert feature.GetField("note") == "seen"
    feature.SetField("note", "by hand")
    assert layer.SetFeature(feature) == 0
    feature = layer = dataset = None
    assert [row["note"] for row in rows(store, "items").values()] == ["seen", "by hand", "seen", "seen"]
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("SELECT count(*) FROM rtree_items_geom").fetchone() == (4,)
        assert file.execute(f"SELECT DISTINCT {LATEST} FROM items").fetchall() == [(0.0,)]  # noqa: S608
    dataset = ogr.Open(str(path))
    definition = dataset.GetLayerByName("items").GetLayerDefn()
    assert definition.GetFieldDefn(definition.GetFieldIndex(LATEST)).GetType() == ogr.OFTReal
