"""Whether a line of a new computation is the object that was known before: told by where it runs, not by its name."""

from typing import List, Optional, Sequence, Tuple

import numpy as np

from ..geometry.boxes import boxes_of, near_one
from ..geometry.polylines import evenly_spaced, nearest_on
from .join import LATERAL_M, LATERAL_SIGMAS, WIDEST_M

# This part of a line must run beside another one for the two to be taken for the same object.
MOST_OF_IT = 0.8
SAMPLE_M = 0.02


def beside(line_m, other_m, lateral_m: float = LATERAL_M, depth_m: float = WIDEST_M) -> Tuple[float, float]:
    """How much of a line runs beside another one, and how far from it.

    Parameters
    ----------
    line_m, other_m : (n, 3) array_like
        x, y and depth of the vertices, metres.
    lateral_m, depth_m : float
        Largest distance in plan and in depth that counts as beside, metres.

    Returns
    -------
    share, distance_m : float
        Part of the length (0 to 1), and the mean distance of the whole line in space.
    """
    points = evenly_spaced(line_m, SAMPLE_M)  # so that each stands for as much of the length
    _, in_plan, foot = nearest_on(other_m, points)
    in_depth = np.abs(points[:, 2] - foot[:, 2])
    share = np.mean((in_plan <= lateral_m) & (in_depth <= depth_m))
    return float(share), float(np.mean(np.hypot(in_plan, in_depth)))


class KnownLines:
    """Lines, (n, 3) arrays of x, y and depth (metres), among which the same object is looked for."""

    def __init__(self, lines: Sequence[np.ndarray]):
        self.lines = list(lines)
        self._boxes = boxes_of(self.lines)

    def find_same(self, line_m, sigma_xy_m: float) -> Optional[int]:
        """Number of the line that is the same object as `line_m`, the nearest where several could be; None without one.

        `line_m` must run beside it for most of its length, within 12 mm or three sigmas of two such lines (40 mm at most) in plan
        and 40 mm in depth.
        """
        reach = min(max(LATERAL_M, LATERAL_SIGMAS * np.sqrt(2.0) * sigma_xy_m), WIDEST_M)
        found: List[Tuple[float, int]] = []
        for number in near_one(np.min(line_m, axis=0)[:2], np.max(line_m, axis=0)[:2], self._boxes, reach).tolist():
            share, distance = beside(line_m, self.lines[number], reach)
            if share >= MOST_OF_IT:
                found.append((distance, number))
        return min(found)[1] if found else None
