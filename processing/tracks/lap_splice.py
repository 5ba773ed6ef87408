"""Laps: where one bar ends and the next goes on beside it, too near to be told apart.

Two bars a diameter apart answer as one. Over a whole area they look like a single object whose course goes a step aside; a straight
line through it would be wrong by half the step over most of its length. Two objects half a wavelength apart or more are found each
for itself, with their own ends (`tests/processing/tracks/test_lap_splice.py` holds where that begins).
"""

from typing import List, Tuple

import numpy as np

from .refine import Sightings

FEWEST_PASSES = 4
# Smaller ones are not told from errors of the lines' places, larger ones are two objects of their own or a mistake.
STEPS_M = (0.010, 0.045)
SCATTER_M = 0.0015


def split_at_lap(sightings: Sightings, used: np.ndarray) -> Tuple[List[np.ndarray], float]:
    """The passes of each bar (bool, shape (pass,)), and the step between them, metres; all `used` passes and 0 where none shows.

    A step is believed where it lowers the scatter of the sightings so much that the Bayesian criterion, with a margin for the
    choice of its place, favours two more numbers.
    """
    use = used & sightings.seen & (sightings.weight > 0)
    passes = np.flatnonzero(use)
    if len(passes) < 2 * FEWEST_PASSES:
        return [used], 0.0
    w, u = sightings.w_m[use], sightings.u_m[use]
    line = np.column_stack([np.ones(len(w)), w])
    straight, _ = _scatter(line, u)
    best = None
    for cut in range(FEWEST_PASSES, len(w) - FEWEST_PASSES + 1):
        scatter, found = _scatter(np.column_stack([line, np.arange(len(w)) >= cut]), u)
        if best is None or scatter < best[0]:
            best = scatter, cut, found[2]
    scatter, cut, step = best
    gain = 2 * len(w) * np.log(straight / scatter)
    if not STEPS_M[0] <= abs(step) <= STEPS_M[1] or gain <= 2 * np.log(len(w)) + 8.0:
        return [used], 0.0
    after = np.arange(len(used)) >= passes[cut]
    return [used & ~after, used & after], float(step)


def _scatter(design: np.ndarray, values: np.ndarray) -> Tuple[float, np.ndarray]:
    """RMS about the least-squares fit, and its coefficients."""
    found = np.linalg.lstsq(design, values, rcond=None)[0]
    left = values - design @ found
    freedom = len(values) - design.shape[1]
    return max(float(np.sqrt(left @ left / freedom)), SCATTER_M), found
