"""A record in a schema of a PostgreSQL database with PostGIS, for many people at once.

Writers wait for each other: a writing session locks the record's tables against every other writer, QGIS included, while readers go
on. psycopg2 comes with QGIS and is imported when it is first needed.
"""

import re
from typing import Set, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.packages import missing_packages
from ..store.table_schema import Field, Table
from .schema import GEOMETRY, SCHEMA_VERSION, TABLES
from .store import Session, Store, quoted

DEFAULT_SCHEMA = "inslab_record"
# Numbers above this are free for users in PostGIS's table of coordinate systems (SRID_USER_MAXIMUM is 998999).
FIRST_SRID = 990000
AUTHORITY = "INSLAB"
_TYPES = {str: "text", int: "integer", float: "double precision", bool: "boolean"}
_SCHEMA_WORD = re.compile(r"(?:^|\s)schema\s*=\s*('(?:[^'\\]|\\.)*'|\S+)")


def is_connection(record: str) -> bool:
    """Are these words of libpq (`dbname=...` or `service=...`) rather than a path?"""
    return bool(re.search(r"(?:^|\s)(?:dbname|service)\s*=", record))


def split_schema(record: str) -> Tuple[str, str]:
    """Words for libpq without `schema=...`, and the schema."""
    found = _SCHEMA_WORD.search(record)
    schema = found.group(1).strip("'") if found else DEFAULT_SCHEMA
    return _SCHEMA_WORD.sub(" ", record).strip(), schema


class PostgisSession(Session):
    """Rows of a schema."""

    mark = "%s"
    number = _TYPES[float]

    def __init__(self, connection, schema: str):
        super().__init__(connection)
        self.schema = schema
        cursor = self.execute("SELECT srid FROM geometry_columns WHERE f_table_schema = %s LIMIT 1", (schema,))
        row = cursor.fetchone()
        self.srid = row[0] if row else 0

    def _restamp_layers(self, crs_wkt: str) -> None:
        self.srid = _srid_of(self.connection.cursor(), crs_wkt)
        for table in TABLES.values():
            if table.geometry:
                kind, place = f"geometry({table.geometry}, {self.srid})", quoted(GEOMETRY)
                change = f"ALTER COLUMN {place} TYPE {kind} USING ST_SetSRID({place}, {self.srid})"
                self.execute(f"ALTER TABLE {self.name_of(table)} {change}")

    def name_of(self, table: Table) -> str:
        return f"{quoted(self.schema)}.{quoted(table.name)}"

    def _stored_columns(self, table: Table) -> Set[str]:
        # PostgreSQL's own catalogue: information_schema leaves out what the user may not touch.
        sql = "SELECT attname FROM pg_attribute WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped"
        return {row[0] for row in self.execute(sql, (self.name_of(table),)).fetchall()}

    def _add_column(self, table: Table, field: Field) -> None:
        super()._add_column(table, field)
        self.execute(f"COMMENT ON COLUMN {self.name_of(table)}.{quoted(field.name)} IS %s", (field.says,))

    def geometry_out(self) -> str:
        return f"ST_AsBinary({quoted(GEOMETRY)})"

    def geometry_in(self) -> str:
        return f"ST_GeomFromWKB(%s, {int(self.srid)})"

    def geometry_value(self, wkb: bytes):
        return wkb

    def wkb_of(self, value):
        return value


class PostgisStore(Store):
    """The record in a schema; `record` are words of libpq and `schema=...`."""

    def __init__(self, record: str):
        try:
            import psycopg2
        except ImportError as error:
            raise missing_packages("psycopg2") from error
        self._psycopg2 = psycopg2
        self.errors = (psycopg2.Error,)
        self.dsn, self.schema = split_schema(record)
        try:
            words = psycopg2.extensions.parse_dsn(self.dsn)
        except psycopg2.ProgrammingError as error:
            reason = " ".join(str(error).split())
            raise ProcessingError(
                tr(
                    "The record's database is not given correctly ({reason}): write host=... dbname=... schema=...",
                    reason=reason,
                )
            ) from error
        self.name = f"{words.get('dbname', words.get('service', ''))}/{self.schema}"

    def _connect(self):
        return self._psycopg2.connect(self.dsn)

    def exists(self) -> bool:
        with self._said():
            connection = self._connect()
            try:
                cursor = connection.cursor()
                cursor.execute("SELECT tablename FROM pg_tables WHERE schemaname = %s", (self.schema,))
                found = {row[0] for row in cursor.fetchall()}
            finally:
                connection.close()
        if found and not set(TABLES) <= found:
            raise ProcessingError(
                tr(
                    "The schema {place} contains tables, but not those of a record; choose another schema.",
                    place=self.name,
                )
            )
        return bool(found)

    def create(self, crs_wkt: str) -> None:
        with self._said():
            connection = self._connect()
            try:
                cursor = connection.cursor()
                # Held to the end of the transaction: of two who start at once, the second finds the record made.
                cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", (f"inslab record {self.schema}",))
                cursor.execute("SELECT 1 FROM pg_tables WHERE schemaname = %s AND tablename = 'about'", (self.schema,))
                if cursor.fetchone() is None:
                    self._create_tables(cursor, crs_wkt)
                    connection.commit()
            finally:
                connection.close()

    def _create_tables(self, cursor, crs_wkt: str) -> None:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'postgis'")
        if cursor.fetchone() is None:
            raise ProcessingError(
                tr("The database {place} lacks PostGIS: have its owner run CREATE EXTENSION postgis.", place=self.name)
            )
        srid = _srid_of(cursor, crs_wkt)
        cursor.execute(f"CREATE SCHEMA IF NOT EXISTS {quoted(self.schema)}")
        for table in TABLES.values():
            name = f"{quoted(self.schema)}.{quoted(table.name)}"
            columns = [f"{quoted(field.name)} {_TYPES[field.kind]}" for field in table.fields]
            if table.geometry:
                columns.append(f"{quoted(GEOMETRY)} geometry({table.geometry}, {srid})")
            cursor.execute(
                f"CREATE TABLE {name} (fid serial PRIMARY KEY, {', '.join(columns)}, UNIQUE ({quoted(table.key)}))"
            )
            if table.geometry:
                cursor.execute(f"CREATE INDEX ON {name} USING gist ({quoted(GEOMETRY)})")
            cursor.execute(f"COMMENT ON TABLE {name} IS %s", (table.description,))
            for field in table.fields:
                cursor.execute(f"COMMENT ON COLUMN {name}.{quoted(field.name)} IS %s", (field.says,))
        about = f"{quoted(self.schema)}.about"
        rows = [("schema_version", SCHEMA_VERSION), ("crs_wkt", crs_wkt)]
        cursor.executemany(f"INSERT INTO {about} (name, value) VALUES (%s, %s)", rows)  # noqa: S608  # nosec B608

    def _open(self, writing: bool) -> Session:
        connection = self._connect()
        try:
            if writing:
                names = ", ".join(f"{quoted(self.schema)}.{quoted(name)}" for name in TABLES)
                # Against all other writers from before the first read on, so that nobody's change is overwritten unread.
                connection.cursor().execute(f"LOCK TABLE {names} IN SHARE ROW EXCLUSIVE MODE")
            else:
                connection.set_session(isolation_level="REPEATABLE READ", readonly=True)
            return PostgisSession(connection, self.schema)
        except BaseException:
            connection.close()
            raise


def _srid_of(cursor, crs_wkt: str) -> int:
    """Number of a coordinate system in the database, which gets it where it lacks it."""
    cursor.execute("SELECT srid FROM spatial_ref_sys WHERE srtext = %s", (crs_wkt,))
    row = cursor.fetchone()
    if row:
        return row[0]
    cursor.execute("SELECT coalesce(max(srid), %s) + 1 FROM spatial_ref_sys WHERE srid >= %s", (FIRST_SRID,) * 2)
    srid = cursor.fetchone()[0]
    cursor.execute(
        "INSERT INTO spatial_ref_sys (srid, auth_name, auth_srid, srtext, proj4text) VALUES (%s, %s, %s, %s, '')",
        (srid, AUTHORITY, srid, crs_wkt),
    )
    return srid
