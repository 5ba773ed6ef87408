"""Wave speed of the two halves of an area, each way: moisture need not be the same everywhere.

Every bar that crosses enough passes gives a radargram of its own for each half of them. Both halves see the same bars with the same
antenna, so what the model gets wrong they share, and their difference is surer than either.
"""

from typing import Dict, List, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.robust import robust_sigma
from ..radar.model import RegionSpeed

# Fewer passes or bars than these scatter by more than moisture makes of the speed (half a small survey: 2 % on simulated slabs).
FEWEST_PASSES, FEWEST_BARS = 5, 3
# What is left of the model's errors in the difference of two halves, relative.
FLOOR = 0.01


def halves_of(group) -> List[Tuple[str, np.ndarray]]:
    """Name of each half of a group's passes, and which passes it has (bool, shape (pass,)); none where there are too few."""
    offsets = group.offsets_m
    if len(offsets) < 2 * FEWEST_PASSES:
        return []
    # Offsets count to the left of the travel; the name gives the coordinate of the local grid that they are closest to.
    axis = int(np.argmax(np.abs(group.normal)))
    along = offsets * group.normal[axis]
    first = np.arange(len(offsets)) < len(offsets) / 2
    out = []
    for half in (first, ~first):
        words = tr(
            "{axis} from {low:.2f} to {high:.2f} m", axis="xy"[axis], low=along[half].min(), high=along[half].max()
        )
        out.append((words, half))
    return out


def region_speeds(
    names: Sequence[str], logs: np.ndarray, first_m_ns: float, vertex, matches
) -> Tuple[RegionSpeed, ...]:
    """Speeds of the regions that enough bars tell.

    Parameters
    ----------
    names : sequence of str
        The region of each radargram.
    logs : ndarray, shape (trial,)
        Logarithms of the permittivities tried, over that of `first_m_ns`.
    vertex : callable
        The best logarithm for matches of shape (trial,).
    matches : ndarray, shape (trial, radargram, axis)
    """
    members: Dict[str, List[int]] = {}
    for number, name in enumerate(names):
        members.setdefault(name, []).append(number)
    out = []
    for name, own in members.items():
        found = [vertex(logs, np.nanmean(matches[:, number], axis=1)) for number in own]
        found = np.array([one for one in found if np.isfinite(one)])
        if len(found) < FEWEST_BARS:
            continue
        # The median and its error from the median deviation: a bar that does not match must not tip a half.
        middle = float(np.median(found))
        scatter = robust_sigma(found - middle) * np.sqrt(np.pi / 2 / len(found))
        speed = float(first_m_ns * np.exp(-0.5 * middle))
        out.append(RegionSpeed(name, speed, float(speed * np.hypot(0.5 * scatter, FLOOR))))
    return tuple(out)
