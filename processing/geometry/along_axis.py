"""Lines described along and across an axis: a course as offsets from a straight line in plan."""

from typing import Tuple

import numpy as np


def chord_direction(vertices_m: np.ndarray) -> np.ndarray:
    """Unit vector in plan from the first to the last vertex, shape (2,)."""
    way = vertices_m[-1, :2] - vertices_m[0, :2]
    return way / np.hypot(*way)


def along_across(vertices_m: np.ndarray, origin_m: np.ndarray, axis: np.ndarray) -> Tuple[np.ndarray, np.ndarray]:
    """Distances of vertices from an origin along an axis (unit vector) and to the left of it, metres, shape (n,) each."""
    away = vertices_m[:, :2] - origin_m
    return away @ axis, away @ np.array([-axis[1], axis[0]])


def straight_on(where: np.ndarray, along: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Linear interpolation of `values` at `along`, continued straight beyond the ends; shape of `where`."""
    order = np.argsort(along)
    along, values = along[order], values[order]
    out = np.interp(where, along, values)
    for beyond, a, b in ((where < along[0], 0, 1), (where > along[-1], -1, -2)):
        slope = (values[a] - values[b]) / (along[a] - along[b])
        out = np.where(beyond, values[a] + slope * (where - along[a]), out)
    return out
