"""Polylines in plan: length, distances along them, points at such distances, and the nearest place on them.

A polyline is an array of vertices, shape (vertex, 2 or 3), metres: x, y and, where there is one, a depth or a height. Lengths and
distances count in plan, unless they are said to be in space; the third coordinate is carried along.
"""

from typing import NamedTuple, Optional

import numpy as np


def length_m(line) -> float:
    """Length in plan, metres."""
    return float(np.sum(np.hypot(*np.diff(np.asarray(line, float)[:, :2], axis=0).T)))


def length_in_space_m(line) -> float:
    """Length in three dimensions, metres: the third coordinate counts as well."""
    return float(np.sum(np.linalg.norm(np.diff(np.asarray(line, float), axis=0), axis=1)))


def stations_m(line) -> np.ndarray:
    """Distance of each vertex along the polyline from its first one, metres, shape (vertex,)."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.asarray(line, float)[:, :2], axis=0).T))])


def points_at(line, at_m, stations: Optional[np.ndarray] = None) -> np.ndarray:
    """Points at distances along the polyline, shape (distance, 2 or 3); beyond its ends those of the ends.

    `stations`: distance of each vertex, where it was measured another way than in plan.
    """
    line = np.asarray(line, float)
    stations = stations_m(line) if stations is None else stations
    return np.column_stack([np.interp(np.atleast_1d(at_m), stations, column) for column in line.T])


def middle_of(line) -> np.ndarray:
    """The point half-way along the polyline, shape (2 or 3,)."""
    return points_at(line, stations_m(line)[-1] / 2)[0]


def evenly_spaced(line, spacing_m: float) -> np.ndarray:
    """Points evenly apart along the polyline by at most `spacing_m`, both ends among them, shape (point, 2 or 3)."""
    end = stations_m(line)[-1]
    # A hair's breadth of tolerance: a whole number of spacings stays that number, whatever rounding does.
    count = max(1, int(np.ceil(end / spacing_m - 1e-9)))
    return points_at(line, np.linspace(0.0, end, count + 1))


class Nearest(NamedTuple):
    """Where a polyline comes nearest to each of many places.

    Attributes
    ----------
    station_m, distance_m : ndarray, shape (place,)
        Distance along the polyline, and distance in plan from the place.
    foot_m : ndarray, shape (place, 2 or 3)
        The nearest point of the polyline.
    """

    station_m: np.ndarray
    distance_m: np.ndarray
    foot_m: np.ndarray


def nearest_on(line, places) -> Nearest:
    """Where a polyline comes nearest in plan to places, shape (place, 2 or more); of points as near as each other the first.

    One vertex alone counts as a polyline without length. The places of all segments are kept at once: memory grows with places
    times segments.
    """
    line, places = np.asarray(line, float), np.asarray(places, float)[:, :2]
    if len(line) == 1:
        line = np.vstack([line, line])
    start, step = line[:-1], np.diff(line, axis=0)
    squared = np.maximum(np.sum(step[:, :2] ** 2, axis=1), 1e-12)  # a segment without length has its start for foot
    share = np.clip(np.sum((places[:, None] - start[:, :2]) * step[:, :2], axis=2) / squared, 0.0, 1.0)
    foot = start + share[..., None] * step
    away = np.hypot(foot[..., 0] - places[:, :1], foot[..., 1] - places[:, 1:])
    rows, nearest = np.arange(len(places)), np.argmin(away, axis=1)
    station = stations_m(line)[nearest] + share[rows, nearest] * np.sqrt(squared[nearest])
    return Nearest(station, away[rows, nearest], foot[rows, nearest])
