"""First positions, good enough for the adjustment to start from: control points first, then from area to area over the ties."""

from typing import Dict, List, Mapping, NamedTuple, Optional, Sequence, Tuple

import numpy as np

from ..common.vocabulary.surfaces import is_from_below
from ..survey.model import ControlPoint, ScanArea
from .control import similarity
from .frame import FITTED, AreaFit
from .observations import Observations, TapeDistance, Tie

SHORTEST_BASE_M = 0.02  # two points closer together than this give no direction to start from
PARALLEL = np.sin(np.radians(5.0))


class Pair(NamedTuple):
    """One point in an area's local grid and in the site grid, metres."""

    local_m: Tuple[float, float]
    site_m: Tuple[float, float]


def first_positions(
    areas: Sequence[ScanArea], control: Mapping[str, Sequence[ControlPoint]], observations: Observations
) -> Dict[str, AreaFit]:
    """A rough rigid fit of every area that can be reached, by id; `control` holds each area's usable points."""
    placed: Dict[str, AreaFit] = {}
    waiting = list(areas)
    ties: Dict[str, List[Tie]] = {}
    for tie in observations.ties:
        for area_id in tie.area_ids:
            ties.setdefault(area_id, []).append(tie)
    while waiting:
        found = {}
        for area in waiting:
            pairs = [Pair(point.local_m, point.site_m) for point in control[area.area_id]]
            pairs += _crossings([d for d in observations.distances if d.area_id == area.area_id])
            pairs += _over_ties(area.area_id, ties.get(area.area_id, ()), placed)
            fit = _from_pairs(area, pairs) or _with_direction(area, pairs, observations)
            if fit is not None:
                found[area.area_id] = fit
        if not found:
            break
        placed.update(found)
        waiting = [area for area in waiting if area.area_id not in found]
    return placed


def _over_ties(area_id: str, ties: Sequence[Tie], placed: Mapping[str, AreaFit]) -> List[Pair]:
    pairs = []
    for tie in ties:
        if tie.direction_rad is None:
            own = tie.area_ids.index(area_id)
            other = placed.get(tie.area_ids[1 - own])
            if other is not None:
                pairs.append(Pair(tie.local_m[own], tuple(other.to_site([tie.local_m[1 - own]])[0])))
    return pairs


def _crossings(distances: Sequence[TapeDistance]) -> List[Pair]:
    """Site positions of the points that were taped from two lines that cross."""
    pairs = []
    for point in dict.fromkeys(distance.local_m for distance in distances):
        own = [distance for distance in distances if distance.local_m == point]
        normals = np.array([normal_of(distance) for distance in own])
        offsets = [normal @ distance.line_start_m + distance.distance_m for normal, distance in zip(normals, own)]
        if len(own) > 1 and np.linalg.svd(normals, compute_uv=False)[-1] > PARALLEL:
            pairs.append(Pair(point, tuple(np.linalg.lstsq(normals, np.array(offsets), rcond=None)[0])))
    return pairs


def normal_of(distance: TapeDistance) -> np.ndarray:
    """Unit vector to the left of the line that a distance was taped from, shape (2,)."""
    along = np.subtract(distance.line_end_m, distance.line_start_m)
    return np.array([-along[1], along[0]]) / np.hypot(*along)


def _from_pairs(area: ScanArea, pairs: Sequence[Pair]) -> Optional[AreaFit]:
    if len(pairs) < 2:
        return None
    local, site = (np.array(part, float) for part in zip(*pairs))
    if min(np.hypot(*np.ptp(local, axis=0)), np.hypot(*np.ptp(site, axis=0))) < SHORTEST_BASE_M:
        return None
    mirrored = is_from_below(area.surface)
    _, rotation, _ = similarity(local, site, np.ones(len(local)), mirrored)
    return _turned(area, rotation, local.mean(axis=0), site.mean(axis=0))


def _with_direction(area: ScanArea, pairs: Sequence[Pair], observations: Observations) -> Optional[AreaFit]:
    """From one point, or two taped distances, once the direction is known."""
    known = [direction for direction in observations.directions if direction.area_id == area.area_id]
    if not known:
        return None
    rotation = known[0].site_rad - known[0].local_rad * (-1.0 if is_from_below(area.surface) else 1.0)
    if pairs:
        return _turned(area, rotation, *(np.mean(part, axis=0) for part in zip(*pairs)))
    own = [distance for distance in observations.distances if distance.area_id == area.area_id]
    if len(own) < 2:
        return None
    turn = _turned(area, rotation, np.zeros(2), np.zeros(2))
    normals = np.array([normal_of(distance) for distance in own])
    if np.linalg.svd(normals, compute_uv=False)[-1] <= PARALLEL:
        return None
    offsets = [
        normal @ (np.asarray(distance.line_start_m) - turn.to_site([distance.local_m])[0]) + distance.distance_m
        for normal, distance in zip(normals, own)
    ]
    return _turned(area, rotation, np.zeros(2), np.linalg.lstsq(normals, np.array(offsets), rcond=None)[0])


def _turned(area: ScanArea, rotation: float, local, site) -> AreaFit:
    """The fit with this rotation that puts the point `local` at `site`."""
    turn = AreaFit(area.area_id, FITTED, rotation, np.zeros(2), is_from_below(area.surface))
    return AreaFit(area.area_id, FITTED, rotation, site - turn.to_site([local])[0], turn.mirrored)
