"""Where the tasks of areas are run: in this process, or in processes beside it, one for each core.

A runner takes tasks as text and calls `accept(number, content)` for each as it is done, in any order, from the caller's thread.
Every runner calls the same `run_task`, so that the results are the same to the last bit.

Each uses one thread for linear algebra: how such a library shares its sums out over threads changes the last digits, so that the
same survey would give another result on a machine with more cores.

Where there are more cores than areas, each of these processes may use several (`together`).

Threads would not do: they gained a sixth, because most of the work holds Python's lock. Python's `multiprocessing` would not do
either: inside QGIS it starts what `sys.executable` names, which may be a second QGIS. So the interpreter is looked for, asked
whether it is the same as this one, and where none is found the work is done here.
"""

import json
import os
import queue
import subprocess  # nosec B404 - no shell, no text of a user: only our own file, run by the interpreter that runs this
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path
from typing import Callable, Dict, List, Optional, Sequence

import numpy as np

from ..common.errors import InslabError
from ..common.language import current, tr
from ..common.monitor import Monitor
from .compute import AreaResult, work_area
from .plain_data import from_text, to_bytes, to_text

Accept = Callable[[int, bytes], None]
Runner = Callable[[Sequence[str], Accept, Monitor], None]

WORKER = Path(__file__).with_name("worker.py")
MOST_PROCESSES = 8  # each holds one area in memory
START_SECONDS = 60
POLL_SECONDS = 0.1


def task_text(task) -> str:
    """A task as one line of text. Positions in arrays stand in it as lists."""
    text, arrays = to_text(task)
    lists = {name: [str(array.dtype), array.tolist()] for name, array in arrays.items()}
    return json.dumps([text, lists])


def run_task(text: str, monitor: Monitor = Monitor()) -> bytes:
    """The result of one task: text in, bytes out (`plain_data.to_bytes` of an `AreaResult`)."""
    task, lists = json.loads(text)
    arrays = {name: np.array(values, dtype) for name, (dtype, values) in lists.items()}
    return to_bytes(work_area(from_text(task, arrays), monitor))


def run_here(tasks: Sequence[str], accept: Accept, monitor: Monitor) -> None:
    """One task after the other, in this process."""
    for number, text in enumerate(tasks):
        monitor.step(number / len(tasks))
        with _one_thread():
            content = run_task(text, monitor.part(number / len(tasks), (number + 1) / len(tasks)))
        accept(number, content)


@contextmanager
def _one_thread():
    """Linear algebra on one thread, where threadpoolctl is there to ask for it; else the last digits may be others."""
    try:
        from threadpoolctl import threadpool_limits
    except ImportError:
        yield
        return
    with threadpool_limits(1):
        yield


def run_on_cores(tasks: Sequence[str], accept: Accept, monitor: Monitor) -> None:
    """As many at once as there are cores, each in a process of its own; one after the other where that cannot be."""
    count = min(len(tasks), usable_cores())
    python = find_python()
    if python is None:
        monitor.log(
            tr(
                "No Python interpreter was found beside QGIS, so not all cores can be used; areas are computed one "
                "after the other."
            )
        )
        run_here(tasks, accept, monitor)
        return
    waiting: queue.Queue[int] = queue.Queue()
    for number in range(len(tasks)):
        waiting.put(number)
    events: queue.Queue[tuple] = queue.Queue()
    workers = [_Worker(python, usable_cores() // count, tasks, waiting, events) for _ in range(count)]
    try:
        _follow(len(tasks), events, accept, monitor)
    finally:
        for worker in workers:
            worker.stop()


def usable_cores() -> int:
    """How many processes may compute at once."""
    try:
        cores = len(os.sched_getaffinity(0))
    except AttributeError:  # not on Windows and macOS
        cores = os.cpu_count() or 1
    return min(cores, MOST_PROCESSES)


def _follow(count: int, events: "queue.Queue[tuple]", accept: Accept, monitor: Monitor) -> None:
    """Takes what the workers send until all tasks are done."""
    shares = [0.0] * count
    done = 0
    while done < count:
        try:
            kind, number, value = events.get(timeout=POLL_SECONDS)
        except queue.Empty:
            monitor.step(sum(shares) / count)  # asks whether the user has cancelled
            continue
        if kind == "progress":
            shares[number] = max(shares[number], value)
        else:
            shares[number] = 1.0
            done += 1
            accept(number, value)
        monitor.step(sum(shares) / count)


class _Worker:
    """One process, and the thread that gives it tasks and hears from it."""

    def __init__(
        self,
        python: str,
        cores: int,
        tasks: Sequence[str],
        waiting: "queue.Queue[int]",
        events: "queue.Queue[tuple]",
    ):
        self._python, self._cores, self._tasks, self._waiting, self._events = python, cores, tasks, waiting, events
        self._process: Optional[subprocess.Popen] = None
        self._stopping = False
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends the process, whatever it does."""
        with self._lock:
            self._stopping = True
            if self._process is not None:
                self._process.kill()
        self._thread.join()

    def _run(self) -> None:
        try:
            while not self._stopping:
                try:
                    number = self._waiting.get_nowait()
                except queue.Empty:
                    return
                self._events.put(("done", number, self._result(number)))
        finally:
            self._end()

    def _result(self, number: int) -> bytes:
        """The result of one task; where the process ends over it, a result that says so."""
        try:
            with self._lock:
                if self._process is None and not self._stopping:
                    self._process = start_worker(self._python, self._cores)
            return self._talk(number)
        except (OSError, ValueError, AttributeError) as error:
            code = self._end()
            task = from_text(json.loads(self._tasks[number])[0], _NoArrays())
            result = AreaResult(task.area.area_id)
            result.failure = tr(
                "the process that computed it ended before it was done (code {code}, {error}), as happens when "
                "memory runs out; choose a larger cell size or close other programs, then run this again.",
                code=code,
                error=error,
            )
            return to_bytes(result)

    def _talk(self, number: int) -> bytes:
        process = self._process
        process.stdin.write(self._tasks[number].encode() + b"\n")
        process.stdin.flush()
        while True:
            line = process.stdout.readline()
            if not line.endswith(b"\n"):
                raise OSError("no answer")
            said: Dict = json.loads(line)
            if "bytes" in said:
                content = process.stdout.read(said["bytes"])
                if len(content) < said["bytes"]:
                    raise OSError("half an answer")
                return content
            self._events.put(("progress", number, said["progress"]))

    def _end(self) -> Optional[int]:
        with self._lock:
            process, self._process = self._process, None
        if process is None:
            return None
        process.kill()
        process.stdin.close()
        process.stdout.close()
        return process.wait()


class _NoArrays(dict):
    """Stands for arrays that are not needed."""

    def __missing__(self, name):
        return None


def find_python() -> Optional[str]:
    """An interpreter of this very release that can compute areas; None where there is none.

    `sys.executable` is QGIS itself on some systems: only a program that is called python is ever started.
    """
    prefixes = [Path(sys.executable or "").parent, Path(sys.exec_prefix), Path(sys.base_exec_prefix)]
    names = ["python.exe"] if os.name == "nt" else [f"python{sys.version_info[0]}.{sys.version_info[1]}", "python3"]
    candidates: List[Path] = [Path(sys.executable)] if sys.executable else []
    candidates += [folder / name for prefix in prefixes for folder in (prefix, prefix / "bin") for name in names]
    tried = set()
    for candidate in candidates:
        if str(candidate) in tried or not candidate.name.lower().startswith("python") or not candidate.is_file():
            continue
        tried.add(str(candidate))
        if _answers(str(candidate)):
            return str(candidate)
    return None


def _answers(python: str) -> bool:
    """Whether a worker starts with this interpreter, and runs the same Python and numpy as this process."""
    try:
        process = start_worker(python)
    except (OSError, ValueError):
        return False
    process.kill()
    process.stdin.close()
    process.stdout.close()
    process.wait()
    return True


def start_worker(python: str, cores: int = 1) -> subprocess.Popen:
    """A worker that is ready for tasks and may use so many cores.

    Raises `OSError` or `ValueError` where it does not start or is another release.
    """
    single = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    process = subprocess.Popen(  # noqa: S603  # nosec B603 - see the import
        [python, str(WORKER)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **single},
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # on Windows a console would open
    )
    timer = threading.Timer(START_SECONDS, process.kill)
    timer.start()
    try:
        hello = {
            "package": __name__.split(".")[0],
            "root": str(WORKER.parents[2]),
            "path": sys.path,
            "language": current(),
            "cores": cores,
        }
        process.stdin.write(json.dumps(hello).encode() + b"\n")
        process.stdin.flush()
        answer = json.loads(process.stdout.readline() or b"null")
    except (OSError, ValueError):
        answer = None
    finally:
        timer.cancel()
    if answer != releases():
        process.kill()
        process.stdin.close()
        process.stdout.close()
        process.wait()
        raise OSError(f"{python} is another release, or does not start")
    return process


def releases() -> Dict[str, str]:
    """What a worker must have in common with the process that started it.

    scipy is loaded for it: on Windows its libraries may be found inside QGIS and not outside it.
    """
    try:
        import scipy.linalg

        scipy_release = scipy.__version__
    except ImportError:
        scipy_release = ""
    return {"python": sys.version, "numpy": np.__version__, "scipy": scipy_release}


def run_on_dask(scheduler: str) -> Runner:
    """A runner that sends the tasks to the Dask cluster whose scheduler has this address (`tcp://host:8786`).

    The cluster's machines must see the survey folder at the same path, and this package under the same name.
    Raises `InslabError` where Dask is missing or the scheduler does not answer.
    """
    from ..common.packages import packages

    with packages():
        from distributed import Client

    def run(tasks: Sequence[str], accept: Accept, monitor: Monitor) -> None:
        try:
            client = Client(scheduler, timeout=START_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InslabError(
                tr("The scheduler {address} does not answer; check the address.", address=scheduler)
            ) from error
        with client:
            pending = {n: client.submit(run_task, text, pure=False) for n, text in enumerate(tasks)}
            try:
                while pending:
                    monitor.step(1.0 - len(pending) / len(tasks))
                    for number in [number for number, future in pending.items() if future.done()]:
                        accept(number, pending.pop(number).result())
                    time.sleep(POLL_SECONDS)
            finally:
                client.cancel(list(pending.values()))

    return run
