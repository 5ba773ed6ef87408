"""Independent pieces of work of one area side by side, each in a process that is forked from this one.

Threads gained nothing (9.9 s against 10.3 for one area on two cores): loops as short as these let go of Python's lock and ask
for it again all the time. To fork is safe only where there are neither threads nor windows, so it is done only where `use_cores`
was called, by a process that does nothing but compute areas (`area.worker`), and on Linux. Everywhere else the works run
one after the other.
"""

import os
import sys
import traceback
from multiprocessing import connection, get_context
from typing import Callable, List, Sequence, Tuple

from .monitor import Monitor

Work = Callable[[Monitor], object]

LOOK_EVERY_S = 0.1
PROGRESS, SAID, DONE, FAILED = "progress", "said", "done", "failed"

_cores = 1


def use_cores(count: int) -> None:
    """How many processes `run_together` may start. To be called only where to fork is safe."""
    global _cores
    _cores = count if sys.platform == "linux" else 1


def run_together(works: Sequence[Work], monitor: Monitor = Monitor()) -> List[object]:
    """The results of all `works`, in their order. Raises what the first of them to fail raises, and `Cancelled`.

    Each gets a monitor of its own, and must return what can be sent from one process to another.
    """
    if len(works) < 2 or _cores < 2:
        return [work(monitor.part(number / len(works), (number + 1) / len(works))) for number, work in enumerate(works)]
    return _run_forked(works, monitor)


def _run_forked(works: Sequence[Work], monitor: Monitor) -> List[object]:
    context = get_context("fork")
    count = min(_cores, len(works))
    ends: List[connection.Connection] = []
    children = []
    results, fractions, said = [None] * len(works), [0.0] * len(works), [[] for _ in works]
    try:
        for first in range(count):
            end, other_end = context.Pipe(duplex=False)
            ends.append(end)
            numbers = range(first, len(works), count)
            children.append(context.Process(target=_child, args=(works, numbers, other_end, tuple(ends)), daemon=True))
            children[-1].start()
            other_end.close()
        while ends:
            for end in connection.wait(ends, LOOK_EVERY_S):
                try:
                    kind, number, value = end.recv()
                except EOFError:
                    ends.remove(end)
                    continue
                if kind == FAILED:
                    error, where = value
                    raise error from RuntimeError(where)
                if kind == PROGRESS:
                    fractions[number] = value
                elif kind == SAID:
                    said[number].append(value)
                else:
                    results[number], fractions[number] = (value,), 1.0
            monitor.step(sum(fractions) / len(works))
    finally:
        for child in children:
            child.kill()  # without effect on those that have ended
            child.join()
        for end in ends:
            end.close()
    if None in results:
        raise MemoryError("a process ended before it was done")  # the system ends those that it has no memory for
    for lines in said:
        for speak, text in lines:
            getattr(monitor, speak)(text)
    return [value for (value,) in results]


def _child(works: Sequence[Work], numbers: Sequence[int], end, others: Tuple) -> None:
    """Does some of the works and sends what comes of them; ends when nobody hears it any more."""
    for other in others:
        other.close()  # else nobody would notice that the parent is gone
    use_cores(1)
    number = -1

    def send(kind, value) -> None:
        try:
            end.send((kind, number, value))
        except BrokenPipeError:
            os._exit(1)  # the parent was killed

    monitor = Monitor(
        progress=lambda fraction: send(PROGRESS, fraction),
        log=lambda text: send(SAID, ("log", text)),
        warn=lambda text: send(SAID, ("warn", text)),
    )
    for number in numbers:
        try:
            send(DONE, works[number](monitor))
        except Exception as error:  # whatever it is, the parent raises it again
            send(FAILED, (error, traceback.format_exc()))
            return
