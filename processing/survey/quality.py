"""What the samples of a line themselves give away: values that are no numbers, dead traces, clipping."""

from typing import List, Optional, Tuple

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr, trn
from .model import ScanLine

# What is wrong with the samples of a line: pairs of severity and sentence. A line that cannot be used has one pair alone: an
# ``error``, or ``unreadable``, whose sentence names the file.
SampleChecks = List[Tuple[str, str]]
UNREADABLE = "unreadable"

# A peak of a smooth wave stands at the very extreme for one or two samples; a cut-off one stays there.
_CLIPPED_RUN = 3
_CLIPPED_SHARE = 0.05


def read_checked(line: ScanLine) -> Tuple[Optional[np.ndarray], SampleChecks]:
    """The samples of a line, shape (trace, sample), or None where they cannot be used, and what is wrong with them."""
    try:
        traces = line.read_traces()
    except SurveyError as error:
        return None, [(UNREADABLE, str(error))]
    checks = check_traces(traces)
    return None if is_refused(checks) else traces, checks


def is_refused(checks: SampleChecks) -> bool:
    """Whether the line cannot be used."""
    return any(severity != "warning" for severity, _ in checks)


def check_traces(traces: np.ndarray) -> SampleChecks:
    """What is wrong with the samples of one line, shape (trace, sample).

    Returns pairs of severity and sentence: an ``error`` where the line cannot be used, since filters along and across
    traces would carry a value that is no number into its neighbours; a ``warning`` otherwise.
    """
    # One sum shows any NaN or infinity, and costs a tenth of asking every sample.
    with np.errstate(invalid="ignore"):  # infinities of both signs
        total = np.sum(traces, dtype=np.float64)
    if not np.isfinite(total):
        return [("error", _describe_not_finite(traces))]
    low, high = traces.min(axis=1), traces.max(axis=1)
    dead = low == high
    if dead.all():
        return [("error", tr("every trace is dead: its value is the same throughout."))]
    found = []
    if dead.any():
        found.append(
            (
                "warning",
                trn(
                    "{count} of {all} traces is dead (one value throughout): trace {first}.",
                    "{count} of {all} traces are dead (one value throughout); the first is trace {first}.",
                    int(dead.sum()),
                    all=len(traces),
                    first=_first(dead),
                ),
            )
        )
    clipped = _clipped(traces, high, high.max()) | _clipped(traces, low, low.min())
    clipped &= ~dead
    if clipped.mean() > _CLIPPED_SHARE:
        found.append(
            (
                "warning",
                trn(
                    "{count} of {all} traces is clipped at {low:g} or {high:g}: the receiver was overdriven, so "
                    "echo strength there is too low.",
                    "{count} of {all} traces are clipped at {low:g} or {high:g}: the receiver was overdriven, so "
                    "echo strength there is too low.",
                    int(clipped.sum()),
                    all=len(traces),
                    low=low.min(),
                    high=high.max(),
                ),
            )
        )
    return found


def _describe_not_finite(traces: np.ndarray) -> str:
    bad = ~np.isfinite(traces)
    trace, sample = np.argwhere(bad)[0] + 1
    return trn(
        "{count} sample is not a finite number (NaN or infinity): sample {sample} of trace {trace}.",
        "{count} samples are not finite numbers (NaN or infinity); the first is sample {sample} of trace {trace}.",
        int(bad.sum()),
        sample=sample,
        trace=trace,
    )


def _clipped(traces: np.ndarray, extremes: np.ndarray, limit: float) -> np.ndarray:
    """Traces that stay at the line's extreme value for some samples on end, bool, shape (trace,)."""
    clipped = np.zeros(len(traces), dtype=bool)
    for number in np.flatnonzero(extremes == limit):
        at_limit = traces[number] == limit
        runs = (
            np.convolve(at_limit, np.ones(_CLIPPED_RUN), mode="valid") if len(at_limit) >= _CLIPPED_RUN else np.zeros(1)
        )
        clipped[number] = bool(np.any(runs > _CLIPPED_RUN - 0.5))
    return clipped


def _first(mask: np.ndarray) -> int:
    """Number of the first true entry, counted from 1."""
    return int(np.argmax(mask)) + 1
