"""Mats: families of parallel bars at one depth, with what a designer asks of them: direction, spacing, cover.

All work is in the site grid of one plane. Nothing is said of the bars' size, which is not measured.
"""

from dataclasses import dataclass, field
from typing import Dict, List, Sequence, Tuple

import numpy as np

from ..common.vocabulary.kinds import BAR
from ..geometry.boxes import near_pairs
from ..geometry.mat import FARTHEST_M, FEWEST_BARS, LAP_M, ONE_DIRECTION_RAD, layer_m
from ..geometry.polylines import length_m
from .model import Item

STATION_STEP_M = 0.05


@dataclass(frozen=True)
class Mat:
    """One family of bars.

    Attributes
    ----------
    direction_deg : float
        Of the bars, from the site's x axis anticlockwise, 0 to 180.
    spacing_mean_m, spacing_min_m, spacing_max_m : float
        Distance between neighbouring bars' lines in plan, across the mat, every 50 mm along it; a lap counts as one bar.
    sigma_spacing_m : float
        1-sigma of one spacing (an upper limit: the part that neighbours share is not taken off).
    cover_mean_m, cover_min_m, cover_q05_m : float
        Depth to the top of the bars every 50 mm along each: mean, least, and what 5 % of the bars' length falls below. Scatter of
        the measurement widens their spread, so that the last two are rather too small than too large.
    sigma_cover_m : float
        1-sigma of the depths; mostly common to all bars of an area, so that it does not average out.
    length_m : float
        Of all bars together.
    """

    item_ids: Tuple[str, ...]
    area_ids: Tuple[str, ...]
    direction_deg: float
    spacing_mean_m: float
    spacing_min_m: float
    spacing_max_m: float
    sigma_spacing_m: float
    cover_mean_m: float
    cover_min_m: float
    cover_q05_m: float
    sigma_cover_m: float
    length_m: float


@dataclass(frozen=True)
class _Course:
    """A bar at the stations that it passes: number of the station, place across and depth there (metres)."""

    item: Item
    stations: np.ndarray = field(compare=False)
    across_m: np.ndarray = field(compare=False)
    depth_m: np.ndarray = field(compare=False)


def find_mats(items: Sequence[Item]) -> List[Mat]:
    """The mats among the items of one plane, the shallowest first.

    Bars belong together by the rules of `geometry.mat`: those that run one way, pass the same station no further apart than
    neighbours do, and lie in one layer.
    """
    bars = [item for item in items if item.kind == BAR and np.hypot(*_chord(item)) > STATION_STEP_M]
    mats = []
    for axis, family in _by_direction(bars):
        courses = [course for course in (_course(item, axis) for item in family) if len(course.stations)]
        for members in _connected(courses):
            if len(members) >= FEWEST_BARS:
                mats.append(_describe(members, axis))
    return sorted(mats, key=lambda mat: (round(mat.cover_mean_m, 3), mat.item_ids))


def _chord(item: Item) -> np.ndarray:
    return item.vertices_m[-1, :2] - item.vertices_m[0, :2]


def _by_direction(bars: Sequence[Item]) -> List[Tuple[np.ndarray, List[Item]]]:
    """Families of one direction, each with its mean direction (unit vector, y >= 0), the longest bars deciding first."""
    families: List[Tuple[complex, List[Item]]] = []
    for item in sorted(bars, key=lambda bar: (-round(np.hypot(*_chord(bar)), 3), bar.item_id)):
        dx, dy = _chord(item)
        double = complex(dx, dy) ** 2 / np.hypot(dx, dy)  # twice the angle: forth and back are one direction
        for number, (total, members) in enumerate(families):
            if abs(np.angle(double * np.conj(total))) < 2 * ONE_DIRECTION_RAD:
                families[number] = total + double, [*members, item]
                break
        else:
            families.append((double, [item]))
    return [(_axis(total), members) for total, members in families]


def _axis(total: complex) -> np.ndarray:
    angle = np.angle(total) / 2 % np.pi
    return np.array([np.cos(angle), np.sin(angle)])


def _course(item: Item, axis: np.ndarray) -> _Course:
    along = item.vertices_m[:, :2] @ axis
    across = item.vertices_m[:, :2] @ np.array([-axis[1], axis[0]])
    order = np.argsort(along, kind="stable")
    along, across, depth = along[order], across[order], item.vertices_m[order, 2]
    # A hair's breadth of tolerance: an end on a station counts, whatever rounding does.
    first = int(np.ceil(along[0] / STATION_STEP_M - 1e-6))
    last = int(np.floor(along[-1] / STATION_STEP_M + 1e-6))
    stations = np.arange(first, last + 1)
    at = stations * STATION_STEP_M
    return _Course(item, stations, np.interp(at, along, across), np.interp(at, along, depth))


def _connected(courses: Sequence[_Course]) -> List[List[_Course]]:
    """Courses in groups of which each is a neighbour of another one of the group."""
    low = np.array([(one.stations[0] * STATION_STEP_M, one.across_m.min()) for one in courses])
    high = np.array([(one.stations[-1] * STATION_STEP_M, one.across_m.max()) for one in courses])
    group_of = np.arange(len(courses))
    for i, j in near_pairs((low, high), FARTHEST_M):
        if group_of[i] != group_of[j] and _neighbours(courses[i], courses[j]):
            group_of[group_of == group_of[j]] = group_of[i]
    groups: Dict[int, List[_Course]] = {}
    for course, group in zip(courses, group_of.tolist()):
        groups.setdefault(group, []).append(course)
    return list(groups.values())


def _neighbours(one: _Course, other: _Course) -> bool:
    first, last = max(one.stations[0], other.stations[0]), min(one.stations[-1], other.stations[-1])
    if first > last:
        return False
    mine, theirs = (slice(first - course.stations[0], last + 1 - course.stations[0]) for course in (one, other))
    apart = np.median(np.abs(one.across_m[mine] - other.across_m[theirs]))
    deeper = np.median(np.abs(one.depth_m[mine] - other.depth_m[theirs]))
    sigma = np.hypot(one.item.sigma_depth_m, other.item.sigma_depth_m)
    return bool(apart <= FARTHEST_M and deeper <= layer_m(sigma))


def _describe(members: Sequence[_Course], axis: np.ndarray) -> Mat:
    spacings = _spacings(members)
    cover = np.concatenate([course.depth_m for course in members])
    bars = [course.item for course in members]
    return Mat(
        tuple(sorted(bar.item_id for bar in bars)),
        tuple(sorted({area_id for bar in bars for area_id in bar.area_ids})),
        float(np.degrees(np.arctan2(axis[1], axis[0])) % 180.0),
        float(np.mean(spacings)) if len(spacings) else float("nan"),
        float(np.min(spacings)) if len(spacings) else float("nan"),
        float(np.max(spacings)) if len(spacings) else float("nan"),
        float(np.sqrt(2 * np.mean([bar.sigma_xy_m**2 for bar in bars]))),
        float(np.mean(cover)),
        float(np.min(cover)),
        float(np.quantile(cover, 0.05)),
        float(np.sqrt(np.mean([bar.sigma_depth_m**2 for bar in bars]))),
        float(sum(length_m(bar.vertices_m) for bar in bars)),
    )


def _spacings(members: Sequence[_Course]) -> np.ndarray:
    """Distances between neighbouring places of bars, at every station, metres."""
    at: Dict[int, List[float]] = {}
    for course in members:
        for station, across in zip(course.stations.tolist(), course.across_m.tolist()):
            at.setdefault(station, []).append(across)
    out: List[float] = []
    for station in sorted(at):
        places = np.sort(at[station])
        laps = np.split(places, np.flatnonzero(np.diff(places) >= LAP_M) + 1)
        gaps = np.diff([lap.mean() for lap in laps])
        out += gaps[gaps <= FARTHEST_M].tolist()
    return np.array(out)
