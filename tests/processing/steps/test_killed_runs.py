"""Runs that are killed, run at once, or find no room: the earlier result stays, and one sentence says what to do."""

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import killing
import numpy as np
import pytest
import stand_ins
from small_disk import small_disk

from inslab.processing.area.settings import RunSettings
from inslab.processing.common.errors import ProcessingError
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.store import locks, publish
from inslab.processing.store.locks import LOCK_FILE

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")
needs_kill = pytest.mark.skipif(os.name == "nt", reason="SIGKILL")


def hidden(pattern):
    return lambda output: any(output.glob(pattern))


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Survey folder, output folder with a result of 10 mm slices, its files, and those of 20 mm slices."""
    base = tmp_path_factory.mktemp("killed")
    folder = stand_ins.write_survey(base / "job")
    output = base / "a result ü"
    killing.finish(folder, output, 0.02)
    new = killing.contents(output)
    killing.finish(folder, output, 0.01)
    return folder, output, killing.contents(output), new


MOMENTS = (
    *(".inslab-lock", ".inslab-cache/*.part", ".unfinished-*/unplaced/*", ".unfinished-*/slices/*"),
    ".unfinished-*/survey.gpkg",
)


@needs_kill
@pytest.mark.parametrize("moment", MOMENTS)
def test_a_killed_run_leaves_the_earlier_result_and_is_taken_up(job, moment):
    folder, output, earlier, new = job
    run = killing.start(folder, output, 0.02)
    if killing.kill_when(run, output, hidden(moment)):
        assert killing.contents(output) in (earlier, new)
    done = sum(1 for _ in (output / ".inslab-cache").glob("*.npz")) - len(stand_ins.AREAS)
    assert killing.finish(folder, output, 0.02) <= len(stand_ins.AREAS) - max(done, 0)
    assert killing.contents(output) == new
    assert not killing.left_over(output)
    killing.finish(folder, output, 0.01)
    assert killing.contents(output) == earlier


@pytest.mark.parametrize("moves_done", range(0, 12, 2))
def test_moves_that_a_kill_cut_short_are_completed_by_the_next_run(tmp_path, monkeypatch, moves_done):
    """The kill falls between two moves: here an exception that nothing catches stands for it."""
    output = tmp_path / "out"
    output.mkdir()
    for name in "abcd":
        (output / name).write_text("old")

    class Killed(BaseException):
        pass

    count = 0
    move = publish._move

    def killed_move(*arguments):
        nonlocal count
        if count == moves_done:
            raise Killed
        count += 1
        move(*arguments)

    with monkeypatch.context() as patch:
        patch.setattr(publish, "_move", killed_move)
        patch.setattr(publish.shutil, "rmtree", lambda *_, **__: None)  # the killed process clears nothing up
        try:
            with publish.staging_folder(output) as staging:
                for name in "abce":
                    (staging / name).write_text("new")
                publish.publish(staging, output, [output / "d"])
        except Killed:
            pass
    with publish.staging_folder(output):
        pass
    assert {path.name: path.read_text() for path in output.iterdir()} == dict.fromkeys("abce", "new")


def test_a_list_of_moves_that_leads_out_of_the_folder_is_not_followed(tmp_path):
    (tmp_path / "mine").write_text("mine")
    output = tmp_path / "out"
    staging = output / ".unfinished-x"
    staging.mkdir(parents=True)
    (staging / "moves.json").write_text('{"into": [], "away": ["../mine"]}')
    with publish.staging_folder(output):
        pass
    assert (tmp_path / "mine").read_text() == "mine"


def test_a_second_run_into_one_folder_is_refused(job):
    folder, output, earlier, _ = job
    with (
        publish.staging_folder(output),
        pytest.raises(ProcessingError, match=r"Another run is writing into .*a result ü; wait"),
    ):
        process_survey_step(folder, output)
    assert killing.contents(output) == earlier


@needs_kill
def test_the_lock_goes_with_its_process(tmp_path):
    path = str(tmp_path / LOCK_FILE)
    code = f"import fcntl, time; f = open({path!r}, 'ab'); fcntl.flock(f, 2); print(1, flush=True); time.sleep(60)"
    other = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
    other.stdout.readline()
    with pytest.raises(ProcessingError, match="Another run"), locks.folder_lock(tmp_path):
        pass
    other.kill()
    other.communicate()
    with locks.folder_lock(tmp_path):
        assert (tmp_path / LOCK_FILE).exists()
    assert not (tmp_path / LOCK_FILE).exists()


@pytest.fixture
def radar(monkeypatch):
    calls = stand_ins.stand_in(monkeypatch)
    calls.keep_results()
    return calls


@pytest.mark.parametrize("room", [0.0, 0.3, 0.6, 0.8, 0.95])
def test_a_full_disk_is_said_in_a_sentence(folder, radar, tmp_path, room):
    """A small file system of its own, where the tests may make one: an earlier result, then room for a part of the new one."""
    with small_disk(tmp_path / "small disk", "3M") as small:
        output = small / "out"
        process_survey_step(folder, output)
        earlier = killing.contents(output)
        shutil.rmtree(output / ".inslab-cache")
        free = shutil.disk_usage(small).free
        (small / "filler").write_bytes(bytes(int(free - room * 800_000)))
        try:
            process_survey_step(folder, output, RunSettings(depth_step_m=0.02))
        except ProcessingError as error:
            said = str(error)
        else:
            said = ""
        if said:
            assert killing.contents(output) == earlier
            assert any(words in said for words in ("No space left", "no space left", "disk is full")), said
        else:
            assert room > 0.5
        (small / "filler").unlink()
        process_survey_step(folder, output, RunSettings(depth_step_m=0.02))
        assert not killing.left_over(output)


@pytest.mark.parametrize("step", ["store", "write_text"])
def test_a_full_disk_at_any_step_is_said(job, radar, monkeypatch, step):
    """The same without a file system of its own: the error that the system would raise."""
    folder, output, earlier, _ = job

    def full(*_arguments, **_more):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "somewhere")

    if step == "store":
        monkeypatch.setattr(np, "savez", full)
        radar.estimated.clear()
    else:
        monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(ProcessingError, match=r"has no space left|No space left"):
        process_survey_step(folder, output, RunSettings(depth_step_m=0.03))
    monkeypatch.undo()
    assert killing.contents(output) == earlier


def test_a_folder_that_cannot_be_written_is_named(folder, radar, tmp_path, monkeypatch):
    in_the_way = tmp_path / "in the way ü"
    in_the_way.write_text("a file")
    with pytest.raises(ProcessingError, match="in the way ü cannot be written to"):
        process_survey_step(folder, in_the_way)

    def read_only(*_arguments, **_more):  # root may write anywhere, so the system's answer is stood in for
        raise PermissionError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(Path, "open", read_only)
    with (
        pytest.raises(
            ProcessingError, match=r"cannot be written to \(Read-only file system\); choose another output folder"
        ),
        publish.staging_folder(tmp_path),
    ):
        pass


def test_names_with_spaces_and_other_letters_are_fine(folder, radar, tmp_path):
    output = tmp_path / "Straße 7 – 2. Stock, süd & 東"
    result = process_survey_step(shutil.copytree(folder, tmp_path / "Müller & Söhne 東"), output)
    assert (output / "slices" / "A1.tif").is_file()
    assert result.found.failures == {}
