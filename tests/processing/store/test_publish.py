"""A result appears whole or not at all."""

import errno
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from inslab.processing.common.errors import Cancelled, ProcessingError
from inslab.processing.store.publish import publish, staging_folder


def fill(folder, **files):
    for name, text in files.items():
        path = folder / name.replace("__", "/").replace("_tif", ".tif")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


def contents(folder):
    return {path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*") if path.is_file()}


def test_new_replaces_old_and_what_is_not_ours_stays(tmp_path):
    output = tmp_path / "out"
    fill(output, slices__A_tif="old", slices__B_tif="old", slices__mine_tif="mine", notes="mine")
    fill(tmp_path, outside_tif="mine")
    (output / "slices" / "A.tif.aux.xml").write_text("statistics of the old one")
    with staging_folder(output) as staging:
        fill(staging, slices__A_tif="new", report="new")
        stale = [output / "slices" / name for name in ("A.tif", "B.tif", "gone.tif", "../../outside.tif")]
        publish(staging, output, stale)
    assert (tmp_path / "outside.tif").read_text() == "mine"
    assert contents(output) == {"slices/A.tif": "new", "report": "new", "slices/mine.tif": "mine", "notes": "mine"}
    assert sorted(path.name for path in output.iterdir()) == ["notes", "report", "slices"]


def test_a_cancelled_run_leaves_the_earlier_result(tmp_path):
    output = tmp_path / "out"
    fill(output, slices__A_tif="old")

    def cancelled():
        with staging_folder(output) as staging:
            fill(staging, slices__A_tif="new")
            raise Cancelled("stop")

    with pytest.raises(Cancelled):
        cancelled()
    assert [path.name for path in output.iterdir()] == ["slices"]
    assert contents(output) == {"slices/A.tif": "old"}


def test_a_locked_file_puts_everything_back(tmp_path, monkeypatch):
    output = tmp_path / "out"
    fill(output, a="old", b="old", c="old")
    replace = Path.replace

    def locked(source, target):
        if str(target).endswith("out/b") and "earlier" not in str(source):
            raise PermissionError(13, "Permission denied", str(target))
        return replace(source, target)

    with staging_folder(output) as staging:
        fill(staging, a="new", b="new", d="new")
        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", locked)
            with pytest.raises(ProcessingError, match="b cannot be replaced"):
                publish(staging, output, [output / "c"])
    assert contents(output) == {"a": "old", "b": "old", "c": "old"}


def database(path, text):
    path.parent.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE t (x)")
        file.execute("INSERT INTO t VALUES (?)", (text,))
        file.commit()


def test_a_geopackage_that_is_open_elsewhere_gets_its_new_content_last(tmp_path, monkeypatch):
    output = tmp_path / "out"
    fill(output, a="old", b="old")
    database(output / "s.gpkg", "old")
    with closing(sqlite3.connect(output / "s.gpkg")) as other, staging_folder(output) as staging:
        other.execute("PRAGMA journal_mode = WAL")
        assert other.execute("SELECT x FROM t").fetchall() == [("old",)]  # from now on it keeps a journal
        fill(staging, a="new")
        database(staging / "s.gpkg", "new")
        with monkeypatch.context() as patch:
            patch.setattr("inslab.processing.store.publish.put_in_place", refuse)
            with pytest.raises(ProcessingError, match="no room"):
                publish(staging, output, [output / "b"])
        assert [(output / name).read_text() for name in "ab"] == ["old", "old"]
        assert other.execute("SELECT x FROM t").fetchall() == [("old",)]
        publish(staging, output, [output / "b"])
        assert other.execute("SELECT x FROM t").fetchall() == [("new",)]
    assert sorted(path.name for path in output.iterdir()) == ["a", "s.gpkg"]
    assert (output / "a").read_text() == "new"


def refuse(part, path):
    raise ProcessingError("no room")


def test_an_output_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ProcessingError, match="cannot be written to"), staging_folder(tmp_path / "file" / "out"):
        pass


@pytest.fixture
def as_on_windows(monkeypatch):
    """Files that nobody moves or replaces while they are open; returns the set of these (names below the output folder)."""
    from inslab.processing.store import publish as module
    from inslab.processing.store import replacing

    open_files = set()
    replace = Path.replace

    def refuse(source, target):
        if {Path(source), Path(target)} & open_files:
            raise PermissionError(13, "in use", str(target))
        return replace(source, target)

    monkeypatch.setattr(Path, "replace", refuse)
    monkeypatch.setattr(module, "WINDOWS", True)
    monkeypatch.setattr(replacing, "WINDOWS", True)
    return open_files


def test_on_windows_files_that_qgis_shows_get_their_new_content(tmp_path, as_on_windows):
    output = tmp_path / "out"
    fill(output, slices__A_tif="old", report="old")
    database(output / "survey.gpkg", "old")
    as_on_windows.update({output / "slices" / "A.tif", output / "survey.gpkg"})
    with closing(sqlite3.connect(output / "survey.gpkg")) as shown:  # QGIS goes on with the file that it has open
        with staging_folder(output) as staging:
            fill(staging, slices__A_tif="new", report="new")
            database(staging / "survey.gpkg", "new")
            publish(staging, output)
        assert shown.execute("SELECT x FROM t").fetchone() == ("new",)
    assert (output / "slices" / "A.tif").read_text() == (output / "report").read_text() == "new"


def test_on_windows_too_everything_is_put_back(tmp_path, as_on_windows, monkeypatch):
    output = tmp_path / "out"
    fill(output, a_tif="old", b="old")
    as_on_windows.update({output / "a.tif", output / "b"})
    copy = shutil.copyfile

    def locked(source, target):  # b is locked for writing as well
        if Path(target) == output / "b":
            raise PermissionError(13, "in use", str(target))
        return copy(source, target)

    monkeypatch.setattr(shutil, "copyfile", locked)
    with staging_folder(output) as staging:
        fill(staging, a_tif="new", b="new")
        with pytest.raises(ProcessingError, match="b cannot be replaced"):
            publish(staging, output)
    assert contents(output) == {"a.tif": "old", "b": "old"}


def test_other_failures_go_through_and_leave_nothing(tmp_path):
    """Only a full disk has a sentence of its own there."""

    def fail():
        with staging_folder(tmp_path / "out") as staging:
            (staging / "a").write_text("new")
            raise PermissionError(errno.EACCES, "no")

    with pytest.raises(PermissionError):
        fail()
    assert list((tmp_path / "out").iterdir()) == []
