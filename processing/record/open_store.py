"""Which of the two stores a text names, and whether a file is a record at all."""

import sqlite3
from contextlib import closing
from pathlib import Path

from ..common.errors import ProcessingError
from ..common.language import tr
from .store import Store
from .store_geopackage import GeoPackageStore
from .store_postgis import PostgisStore, is_connection


def open_store(record: str) -> Store:
    """The store at `record`: the path of a GeoPackage, or words of libpq with a schema (`host=... dbname=... schema=...`)."""
    record = str(record).strip()
    if not record:
        raise ProcessingError(tr("Choose the record: a GeoPackage, or a database and a schema in it."))
    return PostgisStore(record) if is_connection(record) else GeoPackageStore(record)


def is_record(path) -> bool:
    """The record of a building? It has tables of the names of a survey's, with other columns, and its history besides."""
    try:
        with closing(sqlite3.connect(f"{Path(path).resolve().as_uri()}?mode=ro", uri=True)) as file:
            found = file.execute("SELECT 1 FROM sqlite_master WHERE name = 'changes'").fetchone()
    except sqlite3.Error:
        return False  # what is wrong with it is said when it is read
    return found is not None
