"""A GeoPackage in the place of an earlier one: under another name until it is whole, then moved or copied in, or not at all."""

import errno
import os
import sqlite3
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Mapping

from ..common.disk import has_no_room
from ..common.errors import ProcessingError, SurveyError, disk_is_full
from ..common.gdal_failures import GdalFailure
from ..common.language import tr

WINDOWS = os.name == "nt"
SQLITE_START = b"SQLite format 3\0"  # https://www.sqlite.org/fileformat.html, section 1.2.1
FAILURES = (GdalFailure, sqlite3.Error, OSError)


@contextmanager
def replacing(path, rows: Mapping[str, int], copied: bool = False):
    """A temporary name beside `path`, for a GeoPackage that takes its place once the block is done, and goes if it fails.

    `rows` are those that each layer written must have, by its name. With `copied` a copy of the file at `path` lies there.
    Raises `ProcessingError` where the new file cannot be written, is not whole or cannot take its place, and `SurveyError` where
    the one to be copied is damaged; the earlier file then stays as it was.
    """
    path = Path(path)
    part = path.with_name(f".{path.name}.{os.getpid()}.part.gpkg")
    try:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            check_replaceable(path)
            part.unlink(missing_ok=True)
            if copied:
                _copy(path, part)
            yield part
            check_whole(part, rows)
        except FAILURES as error:
            if copied:
                _check_undamaged(path)
            raise cannot_be_written(path, part, error) from error
        put_in_place(part, path)
    finally:
        remove_part(part)


def remove_part(part: Path) -> None:
    """Removes a file that was not finished, with what SQLite may have beside it."""
    for suffix in ("", "-journal", "-wal", "-shm"):
        Path(f"{part}{suffix}").unlink(missing_ok=True)


def _copy(path, part) -> None:
    """Copies a database as it stands now, with what other programs have not yet moved from their journal into it."""
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # the copy is ours alone


def check_whole(path: Path, rows: Mapping[str, int]) -> None:
    """Reads a GeoPackage back that GDAL has closed. Raises `GdalFailure` or `sqlite3.Error` if it lacks something of `rows`.

    GDAL closes what it could not write without a word; https://www.sqlite.org/pragma.html#pragma_quick_check reads each page.
    """
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
        whole = file.execute("PRAGMA quick_check(1)").fetchall() == [("ok",)]
        for name, count in rows.items():
            table = '"' + name.replace('"', '""') + '"'
            whole = whole and file.execute(f"SELECT count(*) FROM {table}").fetchone() == (count,)  # noqa: S608  # nosec B608
        # What GDAL makes last: counters of rows, and the spatial index (GeoPackage, OGC 12-128r18, annex F.3).
        geometries = dict(file.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchall())
        last = [f"trigger_{what}_feature_count_{name}" for name in rows for what in ("insert", "delete")]
        last += [f"rtree_{name}_{geometries[name]}_delete" for name in rows if name in geometries]
        whole = whole and {name for (name,) in file.execute("SELECT name FROM sqlite_master")}.issuperset(last)
    if not whole:
        raise GdalFailure(tr("what was written cannot be read back"))


def _check_undamaged(path: Path) -> None:
    try:
        with closing(sqlite3.connect(path)) as file:
            found = file.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        raise cannot_be_read(path, error) from error
    if found != "ok":
        raise cannot_be_read(path, found.splitlines()[-1])


def cannot_be_read(path, reason) -> SurveyError:
    """The error for a GeoPackage that GDAL or SQLite does not read."""
    return SurveyError(
        tr("{path} cannot be read ({reason}); choose the survey.gpkg of a survey.", path=path, reason=reason)
    )


def cannot_be_written(path, part: Path, error: Exception) -> ProcessingError:
    """The error for a GeoPackage that one of `FAILURES` kept from being written; asked while its `part` is there."""
    reason = getattr(error, "strerror", None) or str(error) or tr("no file can be created there")
    # In SQLite's words, since Python 3.9 gives no number: https://www.sqlite.org/rescode.html#full
    full = "disk is full" in reason or getattr(error, "errno", None) in (errno.ENOSPC, errno.EDQUOT)
    # A medium that takes no file has no free space either.
    if full or (not isinstance(error, OSError) and part.exists() and has_no_room(part.parent)):
        return disk_is_full(path)
    return ProcessingError(
        tr("{path} cannot be written ({reason}); choose another place for it.", path=path, reason=reason)
    )


def check_replaceable(path) -> None:
    """Raises `ProcessingError` while another program is in the middle of writing to the GeoPackage at `path`."""
    if not Path(path).is_file():
        return
    try:
        with closing(sqlite3.connect(path, timeout=1.0)) as file:
            file.execute("BEGIN IMMEDIATE")
            file.rollback()
    except sqlite3.Error as error:
        if "locked" in str(error):
            raise ProcessingError(
                tr(
                    "{path} is being written to by another program: save the changes and stop editing there, "
                    "then run this again.",
                    path=path,
                )
            ) from error


def is_open(path) -> bool:
    """May a program have the GeoPackage at `path` open, so that its content must be exchanged rather than the file?

    QGIS keeps a journal beside it from the first edit until it lets go of it. On Windows a file that is merely shown cannot be
    replaced either, and nothing tells of it.
    """
    if Path(f"{path}-wal").exists():
        return True
    return WINDOWS and Path(path).is_file() and start_of(path) == SQLITE_START


def put_in_place(part, path) -> None:
    """Makes the finished file `part` the one at `path`, whole or not at all.

    Moved under a program that keeps a journal beside the file, the new one would be spoilt by it; then the content is copied
    into the file in one transaction, and the program goes on with it. Raises `ProcessingError`.
    """
    try:
        if is_open(path):
            with closing(sqlite3.connect(part)) as new, closing(sqlite3.connect(path)) as target:
                new.backup(target)
        else:
            Path(part).replace(path)
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or error
        if "disk is full" in str(error):
            raise disk_is_full(path) from error
        raise ProcessingError(
            tr(
                "{path} cannot be replaced ({reason}); close it in other programs, then run this again.",
                path=path,
                reason=reason,
            )
        ) from error


def start_of(path) -> bytes:
    with Path(path).open("rb") as file:
        return file.read(len(SQLITE_START))
