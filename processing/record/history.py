"""Nothing is ever silently overwritten: all rows in memory, what changed between before and after, and the way back.

Work on a record changes the rows of a `Book`. What differs at the end is written, each row with its whole content before and
after in the table `changes`; where nothing differs, nothing is written, not even that somebody looked.
"""

import json
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date
from typing import Callable, Dict, List, Mapping, Optional, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..geometry.shapes import as_lists
from .schema import CHANGES, KEPT, REVISIONS, TABLES, Table
from .store import Row, Session, Store

BY_HAND = tr("changed outside Inslab")


@dataclass
class Book:
    """The rows of a record by table name and key."""

    tables: Dict[str, Dict[str, Row]] = field(default_factory=dict)

    def rows(self, name: str) -> List[Row]:
        """The rows of one table, in order."""
        return list(self.tables[name].values())

    def put(self, name: str, row: Mapping) -> None:
        """Adds a row or takes the place of the one with its key; texts that are empty and numbers that are none become nothing."""
        table = TABLES[name]
        clean = {column: _clean(row.get(column), kind) for column, kind in table.columns.items()}
        if table.geometry:
            clean["geom"] = as_lists(row.get("geom"))
        self.tables[name][clean[table.key]] = clean

    def remove(self, name: str, key: str) -> None:
        """Takes a row out; history keeps it."""
        del self.tables[name][key]


def _clean(value, kind: type):
    if value is None or value == "" or value != value:
        return None
    return kind(value)


@dataclass(frozen=True)
class Revision:
    """Who changed the record, when and how; `recorded_on` is a date given by a person, never the computer's."""

    recorded_on: str
    by_whom: str
    what: str
    software_version: str = ""


@dataclass(frozen=True)
class Changed:
    """What a piece of work changed: rows by table, the revision it became (None: nothing changed) and edits from outside."""

    counts: Mapping[str, int]
    revision: Optional[str]
    outside: int = 0


def read_book(session: Session) -> Book:
    """All rows but the history's."""
    return Book({table.name: {row[table.key]: row for row in session.read(table)} for table in KEPT})


def check_date(text: str, what: str = "") -> str:
    """An ISO 8601 date as it was given; `what` says in the refusal whose it is. Raises `ProcessingError`."""
    try:
        return date.fromisoformat(str(text).strip()).isoformat()
    except ValueError as error:
        raise ProcessingError(
            tr(
                "{what} '{given}' is not a date: write year, month and day, for example 2031-05-04.",
                what=what or tr("The date"),
                given=text,
            )
        ) from error


def latest_date(session: Session) -> str:
    """Date of the latest revision; empty where there is none."""
    return max((row["recorded_on"] or "" for row in session.read(REVISIONS)), default="")


def change(
    store: Store,
    revision: Revision,
    work: Callable[[Book], None],
    monitor: Monitor = Monitor(),
    crs_wkt: Optional[str] = None,
) -> Changed:
    """Does `work` on the record's rows and writes what it changed, with history, in one transaction.

    `crs_wkt` becomes the record's coordinate system where one is given. Rows that somebody changed outside (in QGIS, say) since the
    last revision are first entered into history as such. Raises `ProcessingError` for a date before that of the latest revision.
    """
    recorded_on = check_date(revision.recorded_on)
    with store.session(writing=True) as session:
        latest = latest_date(session)
        if recorded_on < latest:
            raise ProcessingError(
                tr(
                    "The record was last changed on {latest}, after {date}: its history only moves forwards, so "
                    "enter {latest} or a later date.",
                    latest=latest,
                    date=recorded_on,
                )
            )
        book = read_book(session)
        before = deepcopy(book)
        outside = _outside_edits(session, book)
        numbers = len(session.read(REVISIONS))
        if outside:
            numbers += 1
            edits = Revision(recorded_on, "", BY_HAND, revision.software_version)
            _enter(session, str(numbers), edits, outside)
        work(book)
        found = differences(before, book)
        monitor.step(0.97)  # the last chance to cancel
        for table, key, old, new in found:
            if new is None:
                session.delete(table, key)
            elif old is None:
                session.insert(table, new)
            else:
                session.update(table, new)
        if crs_wkt:
            session.restamp(crs_wkt)
        if found:
            numbers += 1
            _enter(session, str(numbers), revision, found)
            session.finish()
        counts: Dict[str, int] = {}
        for table, _, _, _ in found:
            counts[table.name] = counts.get(table.name, 0) + 1
        return Changed(counts, str(numbers) if found else None, len(outside))


Difference = Tuple[Table, str, Optional[Row], Optional[Row]]


def differences(before: Book, after: Book) -> List[Difference]:
    """(table, key, row before, row after) of every row that differs."""
    found: List[Difference] = []
    for table in KEPT:
        old, new = before.tables[table.name], after.tables[table.name]
        found += [(table, key, row, None) for key, row in old.items() if key not in new]
        found += [(table, key, old.get(key), row) for key, row in new.items() if old.get(key) != row]
    return found


def _enter(session: Session, number: str, revision: Revision, found: List[Difference]) -> None:
    session.insert(
        REVISIONS,
        {
            "revision": number,
            "recorded_on": revision.recorded_on,
            "by_whom": revision.by_whom,
            "what": revision.what,
            "change_count": len(found),
            "software_version": revision.software_version,
        },
    )
    for count, (table, key, old, new) in enumerate(found, 1):
        action = "insert" if old is None else "delete" if new is None else "update"
        row = {"change_id": f"{number}/{count}", "revision": number, "table_name": table.name, "row_id": key}
        session.insert(CHANGES, {**row, "action": action, "before": _json(old), "after": _json(new)})


def _json(row: Optional[Row]) -> Optional[str]:
    return None if row is None else json.dumps(row, sort_keys=True, ensure_ascii=False)


def _outside_edits(session: Session, book: Book) -> List[Difference]:
    """What the rows differ by from what history says of them."""
    known = _replayed(session.read(CHANGES))
    if not any(known.tables.values()):
        return []
    return differences(known, book)


def _replayed(changes: List[Row]) -> Book:
    book = Book({table.name: {} for table in KEPT})
    for row in changes:
        rows = book.tables[row["table_name"]]
        if row["after"] is None:
            rows.pop(row["row_id"], None)
        else:
            # Rows of before a kind was known are as the store reads them.
            rows[row["row_id"]] = {**TABLES[row["table_name"]].absent, **json.loads(row["after"])}
    return book


def as_known_on(session: Session, day: Optional[str] = None) -> Book:
    """The record as it was known at the end of a day (ISO date); as it is where no day is given."""
    if not day:
        return read_book(session)
    day = check_date(day)
    known = {row["revision"] for row in session.read(REVISIONS) if (row["recorded_on"] or "") <= day}
    return _replayed([row for row in session.read(CHANGES) if row["revision"] in known])
