"""Which of many items lie near one another, so that only those need be compared closely."""

from typing import Iterator, Tuple

import numpy as np


def near_pairs(low_m: np.ndarray, high_m: np.ndarray, reach_m: float) -> Iterator[Tuple[int, int]]:
    """Numbers of the boxes that are no further apart than `reach_m` along any axis, the smaller number first, in order.

    `low_m`, `high_m` : the boxes' corners, metres, shape (box, axis).
    """
    for number in range(len(low_m)):
        later = slice(number + 1, None)
        apart = (low_m[later] - reach_m > high_m[number]) | (low_m[number] - reach_m > high_m[later])
        for other in np.flatnonzero(~apart.any(axis=1)).tolist():
            yield number, number + 1 + other
