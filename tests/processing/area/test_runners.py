"""Wherever areas are computed, the result has the same bits; what goes wrong beside us is told in a sentence."""

import json
import os
import shutil
import sys
import threading
from pathlib import Path

import pytest

from inslab.processing.area import runners
from inslab.processing.area.cache import CACHE_FOLDER
from inslab.processing.area.compute import AreaTask, bare
from inslab.processing.area.plain_data import from_bytes, to_bytes
from inslab.processing.area.runners import find_python, run_here, run_on_cores, task_text
from inslab.processing.common.errors import Cancelled
from inslab.processing.common.monitor import Monitor
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.survey.read import read_survey

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")


def files(output):
    found = [path for path in output.rglob("*") if path.is_file() and CACHE_FOLDER not in path.parts]
    return {path.relative_to(output).as_posix(): path.read_bytes() for path in found}


@pytest.fixture(scope="module")
def survey(small_survey, tmp_path_factory):
    """Folder of a survey that is done in seconds."""
    import tiny

    return tiny.tiny_survey(small_survey, tmp_path_factory.mktemp("runners") / "job ü")


@pytest.fixture(scope="module")
def serial(survey):
    """Files of the survey's result, computed in this process, and where they lie."""
    output = survey.parent / "result"
    process_survey_step(survey, output, runner=run_here)
    found = files(output)
    return found, output


@pytest.fixture
def tasks(folder):
    """Texts of tasks that fail at once: their line files are gone."""
    texts = [task_text(AreaTask(bare(area))) for area in read_survey(folder).areas]
    shutil.rmtree(folder / "lines")
    return texts


def run(runner, tasks, monitor=Monitor()):
    found = {}
    runner(tasks, lambda number, content: found.__setitem__(number, from_bytes(content)), monitor)
    return [found[number] for number in range(len(tasks))]


def without_seconds(results):
    for one in results:
        one.seconds.clear()
    return [to_bytes(one) for one in results]


@pytest.mark.parametrize("runner", ["cores", "several cores an area", "cache"])
def test_the_result_is_the_same_to_the_last_bit(survey, serial, runner, monkeypatch):
    expected, output = serial
    if runner == "several cores an area":
        monkeypatch.setattr(runners, "usable_cores", lambda: 4)
    if runner != "cache":
        shutil.rmtree(output)  # the same place, because the result says where it lies
        progress = []
        process_survey_step(survey, output, monitor=Monitor(progress=progress.append), runner=run_on_cores)
        assert progress == sorted(progress)
    else:
        process_survey_step(survey, output, runner=lambda *_: pytest.fail("something was computed"))
    assert files(output) == expected


def test_failures_come_back_as_sentences_in_order(tasks):
    here, beside = run(run_here, tasks), run(run_on_cores, tasks)
    assert [one.area_id for one in beside] == [one.area_id for one in here]
    assert without_seconds(here) == without_seconds(beside)


def test_a_worker_that_dies_costs_its_area_alone(tasks, monkeypatch, tmp_path):
    """The first task kills its process, as the system does when memory runs out."""
    script = runners.WORKER.read_text(encoding="utf-8")
    mark = json.loads(json.loads(tasks[0])[0])["with"]["area"]["with"]["area_id"]
    death = f"        if {mark!r} in line.decode():\n            os.kill(os.getpid(), 9)\n"
    changed = script.replace("        content =", f"{death}        content =")
    assert changed != script
    own = tmp_path / "area_worker.py"
    own.write_text(changed, encoding="utf-8")
    root = runners.WORKER.parents[2]

    class Elsewhere(type(own)):
        @property
        def parents(self):
            return [None, None, root]

    monkeypatch.setattr(runners, "WORKER", Elsewhere(own))
    results = run(run_on_cores, tasks)
    assert [one.area_id for one in results if "ended before it was done" in one.failure] == [mark]
    assert "code -9" in results[0].failure


def test_cancelling_ends_the_processes_at_once(tasks):
    started = []
    make = runners.subprocess.Popen

    class Popen(make):
        def __init__(self, *arguments, **more):
            super().__init__(*arguments, **more)
            started.append(self)

    calls = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(runners.subprocess, "Popen", Popen)
        with pytest.raises(Cancelled):
            run(run_on_cores, tasks, Monitor(cancelled=lambda: calls.append(0) or len(calls) > 2))
    assert started
    assert all(process.poll() is not None for process in started)


def test_workers_end_with_the_process_that_started_them(tasks):
    worker = runners.start_worker(find_python())
    worker.stdin.close()
    assert worker.wait(timeout=20) == 0
    worker.stdout.close()


def test_only_a_python_is_ever_started(monkeypatch, tmp_path):
    """Inside QGIS `sys.executable` can be QGIS itself, of which nobody wants a second window."""
    program = tmp_path / "qgis.bin"
    program.write_text(f"#!/bin/sh\ntouch {tmp_path}/started\n")
    program.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(program))
    found = find_python()
    assert Path(found).name.startswith("python")
    monkeypatch.setattr(sys, "exec_prefix", str(tmp_path))
    monkeypatch.setattr(sys, "base_exec_prefix", str(tmp_path))
    assert find_python() is None
    assert not (tmp_path / "started").exists()


def test_another_release_of_python_or_numpy_is_not_used(monkeypatch, tasks):
    monkeypatch.setattr(runners.np, "__version__", "0.1")
    assert find_python() is None
    said = []
    results = run(run_on_cores, tasks[:1], Monitor(log=said.append))
    assert len(results) == 1
    assert "one after the other" in said[0]


def test_what_a_library_prints_does_not_disturb_the_answers(tasks, monkeypatch, tmp_path):
    (tmp_path / "sitecustomize.py").write_text("print('hello')\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert find_python() is None or run(run_on_cores, tasks[:1])


def test_cores_are_counted_as_the_system_allows(monkeypatch):
    if hasattr(os, "sched_getaffinity"):
        monkeypatch.setattr(os, "sched_getaffinity", lambda _: range(64))
        assert runners.usable_cores() == runners.MOST_PROCESSES
    assert threading.active_count() < 20
