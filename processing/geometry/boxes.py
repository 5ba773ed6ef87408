"""Which of many lines lie near one another in plan, so that only those need be compared closely."""

from typing import Iterable, Iterator, Tuple

import numpy as np

# Lower and upper corners of boxes, metres, shape (box, axis) each.
Boxes = Tuple[np.ndarray, np.ndarray]


def boxes_of(lines: Iterable[np.ndarray]) -> Boxes:
    """The boxes in plan around lines, arrays of vertices (n, 2 or 3), metres."""
    corners = [(np.min(line, axis=0)[:2], np.max(line, axis=0)[:2]) for line in lines]
    low, high = np.array(corners).reshape(-1, 2, 2).swapaxes(0, 1)
    return low, high


def near_one(low_m: np.ndarray, high_m: np.ndarray, boxes: Boxes, reach_m: float) -> np.ndarray:
    """Numbers of the boxes that are no further than `reach_m` along any axis from the one with these corners, in order."""
    low, high = boxes
    return np.flatnonzero(np.all((low - reach_m <= high_m) & (low_m - reach_m <= high), axis=1))


def near_pairs(boxes: Boxes, reach_m: float) -> Iterator[Tuple[int, int]]:
    """Numbers of each two boxes that are no further apart than `reach_m` along any axis, the smaller number first, in order."""
    low, high = boxes
    for number in range(len(low)):
        later = low[number + 1 :], high[number + 1 :]
        for other in near_one(low[number], high[number], later, reach_m).tolist():
            yield number, number + 1 + other


def boxes_meet(one, other) -> bool:
    """Do the rectangles around two sets of vertices (n, 2 or 3) touch?"""
    a, b = np.asarray(one, float)[:, :2], np.asarray(other, float)[:, :2]
    return bool(np.all(a.min(axis=0) <= b.max(axis=0)) and np.all(b.min(axis=0) <= a.max(axis=0)))
