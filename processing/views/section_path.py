"""A line in plan below which one looks: where along it things lie."""

from dataclasses import dataclass, field
from typing import List, Tuple

import numpy as np

from ..geometry.polylines import nearest_on, points_at, stations_m


@dataclass(frozen=True)
class Meeting:
    """Where a polyline crosses a path: distance along the path, depth there, angle from the path's normal."""

    distance_m: float
    depth_m: float
    crossing_rad: float


def meetings(start_m, end_m, vertices_m) -> List[Meeting]:
    """All crossings of a polyline with the straight stretch from `start_m` to `end_m` (2,), in the polyline's order.

    `vertices_m`: x, y and depth, shape (n, 3), in the same grid. Distances count from `start_m`.
    """
    way = np.subtract(end_m, start_m).astype(float)
    length = float(np.hypot(*way))
    travel = way / length
    away = np.asarray(vertices_m, float)[:, :2] - np.asarray(start_m, float)
    along, across = away @ travel, away @ np.array([-travel[1], travel[0]])
    depth = np.asarray(vertices_m, float)[:, 2]
    found = []
    for i in range(len(along) - 1):
        before, after = across[i], across[i + 1]
        if before == after or before * after > 0:
            continue
        part = before / (before - after)
        distance = along[i] + part * (along[i + 1] - along[i])
        if 0 <= distance <= length:
            angle = np.arctan2(abs(along[i + 1] - along[i]), abs(after - before))
            met = Meeting(float(distance), float(depth[i] + part * (depth[i + 1] - depth[i])), float(angle))
            if (
                not found or abs(found[-1].distance_m - met.distance_m) > 1e-9
            ):  # a vertex on the path belongs to two pieces
                found.append(met)
    return found


@dataclass(frozen=True)
class SectionPath:
    """A polyline in plan.

    Attributes
    ----------
    vertices_m : ndarray, shape (n, 2)
        In the site grid; in the area's local one for a line of an area without a position.
    stations_m : ndarray, shape (n,)
        Distance that each vertex has along the path. For a scan line it is the antenna's own, which differs a little from
        the distance on the site where a scale of the instrument was fitted.
    """

    vertices_m: np.ndarray = field(compare=False)
    stations_m: np.ndarray = field(compare=False)

    @classmethod
    def drawn(cls, vertices_m) -> "SectionPath":
        """Along vertices (n, 2), counted from the first; vertices that repeat the one before are left out."""
        vertices = np.asarray(vertices_m, float)
        kept = np.concatenate([[True], np.diff(stations_m(vertices)) > 1e-9])
        return cls(vertices[kept], stations_m(vertices[kept]))

    @property
    def length_m(self) -> float:
        return float(self.stations_m[-1])

    def points_at(self, distance_m) -> np.ndarray:
        """Plan coordinates at distances along the path, shape (n, 2); beyond its ends those of the ends."""
        return points_at(self.vertices_m, distance_m, self.stations_m)

    def place(self, point_m) -> Tuple[float, float]:
        """Distance along the path of its point nearest to `point_m` (2,), and how far that is, metres."""
        (station,), (apart,), _ = nearest_on(self.vertices_m, [point_m])
        return float(np.interp(station, stations_m(self.vertices_m), self.stations_m)), float(apart)

    def meetings(self, vertices_m) -> List[Meeting]:
        """Where a polyline (x, y, depth; shape (n, 3)) crosses the path."""
        found = []
        for i in range(len(self.vertices_m) - 1):
            start, end = self.vertices_m[i], self.vertices_m[i + 1]
            first, last = self.stations_m[i], self.stations_m[i + 1]
            scale = (last - first) / float(np.hypot(*(end - start)))
            for one in meetings(start, end, vertices_m):
                found.append(Meeting(float(first + scale * one.distance_m), one.depth_m, one.crossing_rad))
        return sorted(found, key=lambda one: one.distance_m)
