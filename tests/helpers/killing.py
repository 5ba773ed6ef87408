"""Runs of the chain in a process of their own that are killed, and what must hold afterwards."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
# Radar and items are stood in for, so that a run takes moments and the kill falls everywhere, also into writing and moving.
RUN = """
import sys, time
sys.path.insert(0, sys.argv[1])
import conftest
sys.path.insert(0, sys.argv[1] + "/helpers")
import pytest, stand_ins
from inslab.processing.area.settings import RunSettings
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.area import compute
patch = pytest.MonkeyPatch()
calls = stand_ins.stand_in(patch)
calls.keep_results()
process_survey_step(sys.argv[2], sys.argv[3], RunSettings(depth_step_m=float(sys.argv[4])))
print("computed", len(calls.estimated), flush=True)
"""


def start(folder, output, depth_step_m):
    """A run of the chain with stand-ins for radar and items."""
    return subprocess.Popen(
        [sys.executable, "-c", RUN, str(TESTS), str(folder), str(output), str(depth_step_m)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finish(folder, output, depth_step_m):
    """Runs to the end and returns how many areas were computed."""
    run = start(folder, output, depth_step_m)
    out, errors = run.communicate(timeout=300)
    assert run.returncode == 0, errors
    return int(out.split()[-1])


def kill_when(run, output, moment):
    """Kills a run once `moment(output)` holds; returns whether it was still under way."""
    while run.poll() is None and not moment(output):
        time.sleep(0.001)
    under_way = run.poll() is None
    if under_way:
        os.kill(run.pid, signal.SIGKILL)
    run.communicate()
    return under_way


def contents(output):
    """The files of a result and their bytes, without anything hidden."""
    files = [path for path in Path(output).rglob("*") if path.is_file()]
    shown = [path for path in files if not any(part.startswith(".") for part in path.relative_to(output).parts)]
    return {path.relative_to(output).as_posix(): path.read_bytes() for path in shown}


def left_over(output):
    """Hidden things beside the results of areas that are kept."""
    return [path.name for path in Path(output).iterdir() if path.name.startswith(".") and path.name != ".inslab-cache"]
