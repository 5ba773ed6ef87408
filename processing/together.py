"""Independent pieces of work side by side in threads: numpy lets go of Python's lock in its long loops."""

import os
import threading
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from typing import Callable, List, Sequence

from .monitor import Monitor

LOOK_EVERY_S = 0.1


def run_together(works: Sequence[Callable[[Monitor], object]], monitor: Monitor = Monitor()) -> List[object]:
    """The results of all `works`, in their order. Raises what the first of them to fail raises, and `Cancelled`.

    Each gets a monitor of its own. Only the calling thread speaks to `monitor`, because those who listen (a window) may not be
    called from other threads; its progress is the mean of theirs, and what they say is passed on when all are done.
    """
    if len(works) < 2:
        return [work(monitor) for work in works]
    fractions, said = [0.0] * len(works), [[] for _ in works]
    stop = threading.Event()

    def own(number: int) -> Monitor:
        def progress(fraction: float) -> None:
            fractions[number] = fraction

        return Monitor(
            progress=progress,
            log=lambda text: said[number].append((monitor.log, text)),
            warn=lambda text: said[number].append((monitor.warn, text)),
            cancelled=stop.is_set,
        )

    with ThreadPoolExecutor(min(len(works), os.cpu_count() or 1)) as pool:
        futures = [pool.submit(work, own(number)) for number, work in enumerate(works)]
        try:
            left = set(futures)
            while left:
                done, left = wait(left, LOOK_EVERY_S, FIRST_EXCEPTION)
                for future in done:
                    future.result()
                monitor.step(sum(fractions) / len(works))
        finally:
            stop.set()  # without effect on those that are done
    for lines in said:
        for speak, text in lines:
            speak(text)
    return [future.result() for future in futures]
