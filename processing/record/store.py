"""What the two stores of a record have in common: rows in and out by SQL, reading at peace, writing one at a time.

A store opens a `Session` for reading or for writing. A writing session holds the record's only write lock from its first read to
its end, and is one transaction: all of it becomes true at once or nothing does, also when the process is killed.

A table has a column for the probability of each kind. One that was made before a kind was known lacks it: that kind was not thought
of, so reading gives 0, and the first row that is written adds the column.
"""

from contextlib import contextmanager
from typing import Dict, Iterator, List, Mapping, Set

from ..common.errors import InslabError, ProcessingError
from ..common.language import tr
from ..geometry import shapes
from ..store.table_schema import Field, Table
from .schema import GEOMETRY, SCHEMA_VERSION, TABLES

Row = Dict[str, object]


class Session:
    """Rows of an open record. A row is a dict by field name, with nested lists under `geom` where its table has geometry."""

    mark = "?"  # placeholder of the database's Python module
    number = "REAL"  # type of its columns that hold a `float`

    def __init__(self, connection):
        self.connection = connection
        self._columns: Dict[str, Set[str]] = {}

    def read(self, table: Table) -> List[Row]:
        """All rows in the order in which they were put in."""
        lacking = {field.name: field.absent for field in self._lacking(table)}
        names = [name for name in table.columns if name not in lacking]
        columns = [quoted(name) for name in names] + ([self.geometry_out()] if table.geometry else [])
        cursor = self.execute(f"SELECT {', '.join(columns)} FROM {self.name_of(table)} ORDER BY fid")  # noqa: S608  # nosec B608
        rows = []
        for values in cursor.fetchall():
            row = {name: table.columns[name](v) if v is not None else None for name, v in zip(names, values)}
            row.update(lacking)
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

    def missing(self, table: Table) -> List[str]:
        """Names of the columns without which the table in the store cannot be used."""
        needed = [name for name in table.columns if name not in table.absent] + [GEOMETRY] * bool(table.geometry)
        return [name for name in needed if name not in self._stored(table)]

    def _lacking(self, table: Table) -> List[Field]:
        return [field for field in table.fields if field.name not in self._stored(table)]

    def _stored(self, table: Table) -> Set[str]:
        if table.name not in self._columns:
            self._columns[table.name] = self._stored_columns(table)
        return self._columns[table.name]

    def _complete(self, table: Table) -> None:
        """Adds the columns that the table lacks, and to its rows what their absence meant."""
        for field in self._lacking(table):
            self._add_column(table, field)
            self.execute(f"UPDATE {self.name_of(table)} SET {quoted(field.name)} = {self.mark}", [field.absent])  # noqa: S608  # nosec B608
            self._columns[table.name].add(field.name)

    def _add_column(self, table: Table, field: Field) -> None:
        self.execute(f"ALTER TABLE {self.name_of(table)} ADD COLUMN {quoted(field.name)} {self.number}")

    def _assigned(self, table: Table, row: Mapping):
        self._complete(table)
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
        """Version of the schema that the record was made with; empty where it does not say."""
        if self.missing(TABLES["about"]):
            return ""
        rows = {row["name"]: row["value"] for row in self.read(TABLES["about"])}
        return rows.get("schema_version", "")

    # What differs between the databases.
    def _stored_columns(self, table: Table) -> Set[str]:
        """Names of the columns that a table has in the store."""
        raise NotImplementedError

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
                self._check_columns(session)
                yield session
                if writing:
                    session.connection.commit()
            except BaseException:
                session.connection.rollback()
                raise
            finally:
                session.connection.close()

    def _check_columns(self, session: Session) -> None:
        for table in TABLES.values():
            missing = session.missing(table)
            if missing:
                raise ProcessingError(
                    tr(
                        "{place} was written by another version of Inslab, or somebody changed it: its table {table} has no column "
                        "{column}. Use that version, or a copy of the record that was kept.",
                        place=self.name,
                        table=table.name,
                        column=missing[0],
                    )
                )

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
