"""A record in one GeoPackage: no server, one file that opens in any GIS.

GDAL makes the empty file, so that layers, coordinate system and spatial index are as GIS programs expect them. Rows then go through
Python's own sqlite3, in one transaction: its rollback journal (or the write-ahead log that QGIS leaves switched on) brings a file
whose writer was killed back to where it was, by itself, when it is next opened.
"""

import os
import sqlite3
import struct
from contextlib import closing
from pathlib import Path
from typing import Set

from ..common.errors import ProcessingError
from ..common.language import tr
from ..geometry import shapes
from ..store.coordinate_system import stamp_crs
from ..store.geopackage import make_tables
from ..store.layer import Layer
from ..store.replacing import FAILURES, cannot_be_written, check_whole, remove_part
from ..store.table_schema import Table
from .schema import SCHEMA_VERSION, TABLES
from .store import Session, Store, quoted

WAIT_S = 60.0
# GeoPackage binary header (OGC 12-128r18, clause 2.1.3): "GP", version 0, flags, srs_id; flags 1: little endian, no envelope.
_HEADER = struct.Struct("<2sBBi")
_ENVELOPE_SIZES = (0, 32, 48, 48, 64)


class GeoPackageSession(Session):
    """Rows of a GeoPackage."""

    def __init__(self, connection):
        super().__init__(connection)
        row = connection.execute("SELECT srs_id FROM gpkg_geometry_columns LIMIT 1").fetchone()
        self.srs_id = row[0] if row else 0

    def name_of(self, table: Table) -> str:
        return quoted(table.name)

    def _stored_columns(self, table: Table) -> Set[str]:
        return {row[0] for row in self.execute("SELECT name FROM pragma_table_info(?)", (table.name,))}

    def geometry_value(self, wkb: bytes):
        return _HEADER.pack(b"GP", 0, 1, self.srs_id) + wkb

    def wkb_of(self, value):
        return None if value is None else wkb_in(value)

    def _restamp_layers(self, crs_wkt: str) -> None:
        stamp_crs(self.connection, crs_wkt)

    def finish(self) -> None:
        """Brings the extents up to date by which GIS programs zoom to a layer."""
        for table in TABLES.values():
            if table.geometry:
                bounds = "min(ST_MinX(geom)), min(ST_MinY(geom)), max(ST_MaxX(geom)), max(ST_MaxY(geom))"
                self.execute(
                    f"UPDATE gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT {bounds} "  # noqa: S608  # nosec B608
                    f"FROM {self.name_of(table)}) WHERE table_name = ?",
                    [table.name],
                )


def wkb_in(blob: bytes) -> bytes:
    """The well-known binary in a geometry of a GeoPackage."""
    return bytes(blob)[8 + _ENVELOPE_SIZES[(blob[3] >> 1) & 0b111] :]


class GeoPackageStore(Store):
    """The record in the file at `path`."""

    errors = (sqlite3.Error, OSError)

    def __init__(self, path):
        self.path = Path(path)
        self.name = str(self.path)
        if self.path.suffix.lower() != ".gpkg":
            raise ProcessingError(
                tr("{path} is not a GeoPackage: give the record a name that ends in .gpkg.", path=self.name)
            )

    def exists(self) -> bool:
        return self.path.is_file()

    def create(self, crs_wkt: str) -> None:
        if self.exists():
            return
        part = self.path.with_name(f".{self.path.name}.{os.getpid()}.part.gpkg")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            part.unlink(missing_ok=True)
            _make_empty(part, crs_wkt)
            _put_if_missing(part, self.path)
        except FAILURES as error:
            raise cannot_be_written(self.path, part, error) from error
        finally:
            remove_part(part)

    def _open(self, writing: bool) -> Session:
        with self.path.open("rb") as file:
            if file.read(15) != b"SQLite format 3":
                raise ProcessingError(tr("{path} is not a GeoPackage; choose the file of a record.", path=self.name))
        connection = sqlite3.connect(self.path, timeout=WAIT_S, isolation_level=None)
        try:
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if not set(TABLES) <= tables:
                raise ProcessingError(tr("{path} is a GeoPackage, but not a record; choose another.", path=self.name))
            _add_functions(connection)
            # A lost connection or power failure after the commit must not undo it.
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE" if writing else "BEGIN")
            return GeoPackageSession(connection)
        except BaseException:
            connection.close()
            raise


def _make_empty(path: Path, crs_wkt: str) -> None:
    make_tables(path, [Layer(t.name, t.geometry, t.columns, [], t.description) for t in TABLES.values()], crs_wkt)
    with closing(sqlite3.connect(path)) as connection:
        for table in TABLES.values():
            connection.execute(
                f"CREATE UNIQUE INDEX {quoted(table.name + '_key')} ON {quoted(table.name)} ({quoted(table.key)})"
            )
        connection.execute("INSERT INTO about (name, value) VALUES ('schema_version', ?)", (SCHEMA_VERSION,))
        connection.execute("INSERT INTO about (name, value) VALUES ('crs_wkt', ?)", (crs_wkt,))
        connection.commit()
    check_whole(path, {name: 2 if name == "about" else 0 for name in TABLES})


def _put_if_missing(part: Path, path: Path) -> None:
    """Gives a finished file its name unless another process was faster, so that no record is ever moved over."""
    try:
        os.link(part, path)
    except FileExistsError:
        pass
    except OSError:  # a file system without links
        if not path.exists():
            part.rename(path)


def _add_functions(connection) -> None:
    """The functions that a GeoPackage's spatial index calls (OGC 12-128r18, annex F.3), which plain SQLite lacks."""

    def bound(number):
        return lambda blob: None if blob is None else shapes.envelope_of(wkb_in(blob))[number]

    for number, name in enumerate(("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY")):
        connection.create_function(name, 1, bound(number))
    # Rows without a place hold NULL, never an empty geometry.
    connection.create_function("ST_IsEmpty", 1, lambda blob: None if blob is None else 0)
