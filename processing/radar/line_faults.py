"""Faults along a line that would spoil its picture: dropouts, clipped samples, and gain that drifts.

Each is found from the data and mended only where it stands out; what was done becomes a sentence for the surveyor.
"""

from dataclasses import dataclass
from typing import List, Tuple

import numpy as np

from ..common.language import tr, trn
from ..common.robust import huber_weights, robust_sigma

# A trace with less than this part of the line's usual amplitude is a dropout: no coupling changes the direct wave so much.
DROPOUT_SHARE = 0.15
# So many dropouts on end leave a hole in the coverage, not only one look less.
LONGEST_UNSAID = 3
# A sample is clipped where the trace stays at the line's extreme for this many on end.
CLIPPED_RUN = 3
# Drift of the direct wave over a line that is taken for one of the gain. Bars near the surface change it by up to 10 %.
LEAST_DRIFT, FEWEST_TRACES = 0.15, 12
# A trace counts in full up to so many standard deviations from the parabola.
STRAY_SIGMAS = 2


@dataclass(frozen=True)
class Mending:
    """Which faults are mended; all by default.

    Attributes
    ----------
    dropouts : bool
        Traces without a direct wave are filled with the line's median trace.
    clipping : bool
        Clipped samples of the direct wave are left out when lines are aligned and levelled.
    gain_drift : bool
        Gain that drifts along a line is taken out of its traces.
    """

    dropouts: bool = True
    clipping: bool = True
    gain_drift: bool = True


def fill_dropouts(traces: np.ndarray, distances_m: np.ndarray) -> Tuple[np.ndarray, List[str]]:
    """Traces (trace, sample) with dropouts filled, and sentences on them.

    They get the line's median trace, so that they show the direct wave but no echo that changes along the line. Interpolated
    ones would show false ones: the limb of a hyperbola moves by a third of a period from trace to trace. Over more than three on
    end, or at an end, the sentence says that nothing is known there.
    """
    level = np.sqrt(np.mean(np.square(traces, dtype=float), axis=1))
    dead = level < DROPOUT_SHARE * np.median(level[level > 0]) if np.any(level > 0) else np.zeros(len(level), bool)
    if not dead.any() or dead.all():
        return traces, []
    filled = traces.copy()
    filled[dead] = np.median(traces[~dead], axis=0)
    said = [
        trn(
            "{count} of its {all} traces is a dropout; it was replaced by its median trace.",
            "{count} of its {all} traces are dropouts; they were replaced by its median trace.",
            int(dead.sum()),
            all=len(traces),
        )
    ]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], dead, [False]]).astype(int)))
    longer = [
        tr("{first:.2f} to {last:.2f} m", first=distances_m[first], last=distances_m[last])
        for first, last in zip(edges[::2], edges[1::2] - 1)
        if last - first >= LONGEST_UNSAID or first == 0 or last == len(traces) - 1
    ]
    if longer:
        said.append(
            tr(
                "its traces from {longer} are missing: nothing is known there; scan the line again.",
                longer=tr(" and ").join(longer),
            )
        )
    return filled, said


def clipped_samples(traces: np.ndarray) -> np.ndarray:
    """Samples of the line's median trace that are cut off in a tenth of its traces or more; bool, shape (sample,)."""
    cut = np.zeros(traces.shape, bool)
    for limit in (traces.max(), traces.min()):
        at_limit = traces == limit
        # Sums over the run that starts at each sample, then back over all samples of a full run.
        full = np.lib.stride_tricks.sliding_window_view(at_limit, CLIPPED_RUN, axis=1).all(axis=2)
        for step in range(CLIPPED_RUN):
            cut[:, step : step + full.shape[1]] |= full
    return cut.mean(axis=0) >= 0.1


def gain_drift(direct_amplitudes: np.ndarray, distances_m: np.ndarray) -> np.ndarray:
    """Gain along a line over its mean, shape (trace,), from the direct wave's amplitude in each trace.

    A parabola through the logarithms, robust against single traces; 1 throughout where it varies by less than 15 %.
    """
    flat = np.ones(len(direct_amplitudes))
    usable = direct_amplitudes > 0
    if usable.sum() < FEWEST_TRACES:
        return flat
    place = distances_m - np.mean(distances_m)
    logs = np.log(np.where(usable, direct_amplitudes, 1.0))
    weight = usable.astype(float)
    for _ in range(4):
        curve = np.polyval(np.polyfit(place, logs, 2, w=weight), place)
        off = logs - curve
        # `polyfit` multiplies residuals by the weight, so that it counts squared: stray traces are held down more than by
        # `common.robust.fit_polynomial`, with which the gain, and every raster of a line that drifts, would differ a little.
        weight = usable * huber_weights(off, STRAY_SIGMAS * (robust_sigma(off[usable]) + 1e-9))
    if np.ptp(curve) < LEAST_DRIFT:
        return flat
    return np.exp(curve - curve.mean())
