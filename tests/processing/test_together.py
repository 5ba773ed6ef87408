"""Work side by side: order, errors, cancelling, and that only the calling thread speaks."""

import threading
import time

import pytest

from inslab.processing.errors import Cancelled, ProcessingError
from inslab.processing.monitor import Monitor
from inslab.processing.together import run_together


def test_results_keep_their_order_whoever_is_done_first():
    first_may_end = threading.Event()

    def slow(_):
        assert first_may_end.wait(5)
        return "slow"

    def quick(_):
        first_may_end.set()
        return "quick"

    assert run_together([slow, quick]) == ["slow", "quick"]
    assert run_together([quick]) == ["quick"]
    assert run_together([]) == []


def test_only_the_calling_thread_speaks():
    speakers, lines = set(), []

    def note(value):
        speakers.add(threading.get_ident())
        lines.append(value)

    def work(monitor):
        monitor.step(1.0)
        monitor.warn("a bar is missing")

    run_together([work, work], Monitor(progress=note, warn=note))
    assert speakers == {threading.get_ident()}
    assert lines.count("a bar is missing") == 2


def test_what_fails_is_raised_and_the_others_are_told_to_stop():
    stopped = threading.Event()

    def fail(_):
        raise ProcessingError("no signal")

    def go_on(monitor):
        for _ in range(500):
            if monitor.cancelled():
                stopped.set()
                return
            time.sleep(0.01)

    with pytest.raises(ProcessingError, match="no signal"):
        run_together([go_on, fail])
    assert stopped.is_set()


def test_cancelling_reaches_all():
    asked = []

    def go_on(monitor):
        while True:
            monitor.step(0.5)
            time.sleep(0.01)

    def cancelled():
        asked.append(1)
        return len(asked) > 2

    with pytest.raises(Cancelled):
        run_together([go_on, go_on], Monitor(cancelled=cancelled))
