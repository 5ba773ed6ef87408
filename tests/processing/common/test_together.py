"""Work side by side: order, errors, cancelling, that progress and messages arrive, and that no process is left behind."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from inslab.processing.common.errors import Cancelled, ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.common.together import run_together

linux = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere nothing is forked")
# Forking is for a process of its own: this one may hold windows and threads of other tests.
LOADED = """
import importlib.util, os, sys, time
spec = importlib.util.spec_from_file_location("inslab", {init!r}, submodule_search_locations=[{root!r}])
sys.modules["inslab"] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(sys.modules["inslab"])
from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.common.together import run_together, use_cores
use_cores(2)
"""


def start(script):
    root = Path(__file__).parents[3]
    loaded = LOADED.format(init=str(root / "__init__.py"), root=str(root))
    return subprocess.Popen([sys.executable, "-c", loaded + script], stdout=subprocess.PIPE, text=True)


def said_by(script):
    process = start(script)
    out, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    return out.splitlines()


def work(monitor):
    monitor.step(1.0)
    monitor.warn("a bar is missing")
    return 1


def test_one_after_the_other_here():
    progress, lines = [], []
    assert run_together([work, lambda _: 2, work], Monitor(progress=progress.append, warn=lines.append)) == [1, 2, 1]
    assert progress == [pytest.approx(1 / 3), pytest.approx(1.0)]
    assert lines == ["a bar is missing"] * 2
    assert run_together([]) == []


def test_what_fails_is_raised():
    def fail(_):
        raise ProcessingError("no signal")

    with pytest.raises(ProcessingError, match="no signal"):
        run_together([work, fail])


def test_cancelling_reaches_the_works():
    asked = []
    with pytest.raises(Cancelled):
        run_together([work, work], Monitor(cancelled=lambda: asked.append(1) or len(asked) > 1))


@linux
def test_forked_results_keep_their_order_and_messages():
    script = """
def slow(monitor):
    time.sleep(0.3)
    monitor.warn("slow")
    return os.getpid()
def quick(monitor):
    monitor.step(0.5)
    monitor.warn("quick")
    return os.getpid()
lines, progress = [], []
pids = run_together([slow, quick, quick], Monitor(progress=progress.append, warn=lines.append))
print(len(set(pids)), os.getpid() in pids, pids[0] == pids[2])
print(*lines)
print(progress == sorted(progress), progress[-1])
"""
    assert said_by(script) == ["2 False True", "slow quick quick", "True 1.0"]


@linux
@pytest.mark.parametrize(
    ("death", "expected"),
    [
        ("raise ProcessingError('no signal')", "ProcessingError no signal True"),
        ("os._exit(9)", "MemoryError a process ended before it was done False"),  # as a killed one does
    ],
)
def test_a_forked_work_that_fails_is_told_and_ends_the_others(death, expected, tmp_path):
    script = f"""
def die(_):
    while not os.path.exists({str(tmp_path / "pid")!r}):
        time.sleep(0.01)
    {death}
def go_on(monitor):
    with open({str(tmp_path / "part")!r}, "w") as file:
        file.write(str(os.getpid()))
    os.rename({str(tmp_path / "part")!r}, {str(tmp_path / "pid")!r})
    time.sleep({60 if "raise" in death else 0})
try:
    run_together([die, go_on])
except Exception as error:
    print(type(error).__name__, error, "in die" in str(error.__cause__))
"""
    assert said_by(script) == [expected]
    assert not runs(int((tmp_path / "pid").read_text()))


@linux
def test_forked_works_end_with_the_process_that_started_them():
    process = start("""
def go_on(monitor):
    os.write(1, b"%d\\n" % os.getpid())  # in one piece, whatever the other writes
    while True:
        monitor.step(0.5)
        time.sleep(0.01)
run_together([go_on, go_on])
""")
    try:
        pids = [int(process.stdout.readline()) for _ in range(2)]
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
    for _ in range(100):
        if not any(map(runs, pids)):
            return
        time.sleep(0.1)
    pytest.fail("a work goes on without anybody to hear of it")


def runs(pid):
    """Whether a process is there and is more than an entry that its new parent has not read yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False
