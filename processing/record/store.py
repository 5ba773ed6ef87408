"""What the two stores of a record have in common: rows in and out by SQL, reading at peace, writing one at a time.

A store opens a `Session` for reading or for writing. A writing session holds the record's only write lock from its first read to
its end, and is one transaction: all of it becomes true at once or nothing does, also when the process is killed.
"""

from contextlib import contextmanager
from typing import Dict, Iterator, List, Mapping

from ..common.errors import InslabError, ProcessingError
from ..common.language import tr
from ..geometry import shapes
from .schema import GEOMETRY, SCHEMA_VERSION, TABLES, Table

Row = Dict[str, object]


class Session:
    """Rows of an open record. A row is a dict by field name, with nested lists under `geom` where its table has geometry."""

    mark = "?"  # placeholder of the database's Python module

    def __init__(self, connection):
        self.connection = connection

    def read(self, table: Table) -> List[Row]:
        """All rows in the order in which they were put in."""
        names = list(table.columns)
        columns = [quoted(name) for name in names] + ([self.geometry_out()] if table.geometry else [])
        cursor = self.execute(f"SELECT {', '.join(columns)} FROM {self.name_of(table)} ORDER BY fid")  # noqa: S608  # nosec B608
        rows = []
        for values in cursor.fetchall():
            row = {name: table.columns[name](v) if v is not None else None for name, v in zip(names, values)}
            if table.geometry:
                row[GEOMETRY] = shapes.from_wkb(self.wkb_of(values[-1]))
            rows.append(row)
        return rows

    def insert(self, table: Table, row: Mapping) -> None:
        """Adds one row; fields that it lacks are empty."""
        names, marks, values = self._assigned(table, row)
        columns = ", ".join(quoted(name) for name in names)
        self.execute(f"INSERT INTO {self.name_of(table)} ({columns}) VALUES ({', '.join(marks)})", values)  # noqa: S608  # nosec B608

    def update(self, table: Table, row: Mapping) -> None:
        """Writes the row that has the same key anew."""
        names, marks, values = self._assigned(table, row)
        pairs = ", ".join(f"{quoted(name)} = {mark}" for name, mark in zip(names, marks))
        where = f"{quoted(table.key)} = {self.mark}"
        self.execute(f"UPDATE {self.name_of(table)} SET {pairs} WHERE {where}", [*values, row[table.key]])  # noqa: S608  # nosec B608

    def delete(self, table: Table, key: str) -> None:
        """Takes one row out."""
        self.execute(f"DELETE FROM {self.name_of(table)} WHERE {quoted(table.key)} = {self.mark}", [key])  # noqa: S608  # nosec B608

    def _assigned(self, table: Table, row: Mapping):
        names, marks, values = list(table.columns), [self.mark] * len(table.columns), []
        for name, kind in table.columns.items():
            value = row.get(name)
            values.append(None if value is None else self.stored(kind(value)))
        if table.geometry:
            names.append(GEOMETRY)
            marks.append(self.geometry_in())
            place = row.get(GEOMETRY)
            values.append(None if place is None else self.geometry_value(shapes.to_wkb(table.geometry, place)))
        return names, marks, values

    def execute(self, sql: str, values=()):
        """Runs one statement and returns its cursor."""
        cursor = self.connection.cursor()
        cursor.execute(sql, values)
        return cursor

    def version(self) -> str:
        """Version of the schema that the record was made with."""
        rows = {row["name"]: row["value"] for row in self.read(TABLES["about"])}
        return rows.get("schema_version", "")

    # What differs between the databases.
    def finish(self) -> None:
        """What is to be done before rows that changed are committed."""

    def stored(self, value):
        """A Python value as the database takes it."""
        return value

    def restamp(self, crs_wkt: str) -> None:
        """Gives all layers another coordinate system; coordinates stay as they are."""
        self._restamp_layers(crs_wkt)
        row = {"name": "crs_wkt", "value": crs_wkt}
        self.update(TABLES["about"], row)

    def _restamp_layers(self, crs_wkt: str) -> None:
        raise NotImplementedError

    def name_of(self, table: Table) -> str:
        """A table's name in SQL."""
        raise NotImplementedError

    def geometry_out(self) -> str:
        """The geometry column in a SELECT."""
        return quoted(GEOMETRY)

    def geometry_in(self) -> str:
        """What stands for the geometry in an INSERT or UPDATE."""
        return self.mark

    def geometry_value(self, wkb: bytes):
        """Well-known binary as it is handed to the database."""
        raise NotImplementedError

    def wkb_of(self, value):
        """Well-known binary of what a SELECT gave."""
        raise NotImplementedError


class Store:
    """Where a record lies; opens sessions. `name` is how messages call it (never with a password in it)."""

    name = ""
    errors = ()  # the database module's own exceptions

    def exists(self) -> bool:
        """Is there a record yet?"""
        raise NotImplementedError

    def create(self, crs_wkt: str) -> None:
        """Makes an empty record, whole or not at all; leaves one that is there as it is."""
        raise NotImplementedError

    def _open(self, writing: bool):
        raise NotImplementedError

    @contextmanager
    def session(self, writing: bool = False) -> Iterator[Session]:
        """A session, committed at its end if it was for writing and nothing was raised. Raises `ProcessingError`."""
        with self._said():
            if not self.exists():
                raise ProcessingError(
                    tr(
                        "There is no record at {place} yet: run 'Update the record' with a survey first.",
                        place=self.name,
                    )
                )
            session = self._open(writing)
            try:
                if session.version() != SCHEMA_VERSION:
                    raise ProcessingError(
                        tr(
                            "{place} was written by another version of Inslab (schema {version}, not {own}); use that version.",
                            place=self.name,
                            version=session.version() or "?",
                            own=SCHEMA_VERSION,
                        )
                    )
                yield session
                if writing:
                    session.connection.commit()
            except BaseException:
                session.connection.rollback()
                raise
            finally:
                session.connection.close()

    @contextmanager
    def _said(self):
        """Failures of the database as one sentence."""
        try:
            yield
        except InslabError:
            raise
        except self.errors as error:
            reason = " ".join(str(error).split())
            raise ProcessingError(
                tr(
                    "The record {place} cannot be read or written ({reason}); nothing was changed. Close it in other programs or "
                    "check the connection, then run this again.",
                    place=self.name,
                    reason=reason,
                )
            ) from error


def quoted(name: str) -> str:
    """A name in SQL."""
    return '"' + name.replace('"', '""') + '"'
