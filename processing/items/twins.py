"""Whether a line of a new computation is the object that was known before: told by where it runs, not by its name."""

from typing import List, Optional, Sequence, Tuple

import numpy as np

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
    points, other = _sampled(line_m), np.asarray(other_m, float)
    start, along = other[:-1], np.diff(other, axis=0)
    length = np.maximum(np.sum(along[:, :2] ** 2, axis=1), 1e-12)
    part = np.clip(np.sum((points[:, None, :2] - start[:, :2]) * along[:, :2], axis=2) / length, 0.0, 1.0)
    away = points[:, None] - (start + part[..., None] * along)
    in_plan = np.hypot(away[..., 0], away[..., 1])
    nearest = np.argmin(in_plan, axis=1)
    rows = np.arange(len(points))
    in_plan, in_depth = in_plan[rows, nearest], np.abs(away[rows, nearest, 2])
    share = np.mean((in_plan <= lateral_m) & (in_depth <= depth_m))
    return float(share), float(np.mean(np.hypot(in_plan, in_depth)))


def find_same(line_m, sigma_xy_m: float, known: Sequence[np.ndarray]) -> Optional[int]:
    """Number of the line among `known` that is the same object, the nearest where several could be; None without one.

    The line must run beside it for most of its length, within 12 mm or three sigmas of two such lines (40 mm at most) in plan
    and 40 mm in depth.
    """
    reach = min(max(LATERAL_M, LATERAL_SIGMAS * np.sqrt(2.0) * sigma_xy_m), WIDEST_M)
    low, high = np.min(line_m, axis=0)[:2] - reach, np.max(line_m, axis=0)[:2] + reach
    found: List[Tuple[float, int]] = []
    for number, other in enumerate(known):
        if np.any(np.min(other, axis=0)[:2] > high) or np.any(np.max(other, axis=0)[:2] < low):
            continue
        share, distance = beside(line_m, other, reach)
        if share >= MOST_OF_IT:
            found.append((distance, number))
    return min(found)[1] if found else None


def _sampled(line_m) -> np.ndarray:
    """Points along a line, no further apart than 20 mm, its vertices among them."""
    line = np.asarray(line_m, float)
    steps = np.hypot(*np.diff(line[:, :2], axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.union1d(along, np.linspace(0.0, along[-1], int(along[-1] / SAMPLE_M) + 2))
    keep = np.concatenate([[True], np.diff(along) > 0])
    return np.column_stack([np.interp(at, along[keep], line[keep, k]) for k in range(3)])
