"""What a measured depth says of the wave speed of the whole area, and what that does to the depths of everything else in it.

An opening that finds an item's top at another depth than the radar's tells that wave speed or time zero were off, within their own
uncertainty. Both are estimated anew from the survey's estimate (with its covariance) and all depths measured in the area, as known
depths of a survey are (`items.known_depths`, `speed.combination.combine_with_known`). Always from the survey's estimate, never from
the latest result, so that the order does not matter and nothing is counted twice.

What needs scipy is imported when it is first needed, so that a record can be read without it.
"""

from dataclasses import dataclass
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.statuses import VERIFIED
from ..geometry.polygons import contains
from ..geometry.polylines import nearest_on
from ..geometry.two_leg import NOMINAL_RADIUS_M, depth_of_path, two_leg_path
from ..items.same_object import LARGEST_GAP_M
from ..radar.model import WaveSpeed
from .history import Book
from .schema import EXPOSURES, GEOMETRY, SEEN
from .store import Row

_STATE = ("speed_m_ns", "sigma_m_ns", "time_zero_ns", "sigma_time_zero_ns", "correlation")
BY_SURVEYOR = "surveyor"
LEAST_M = 0.0005
# How `combine_with_known` ends the name of a method in which known depths took part.
_HAS_KNOWN = " known"


def survey_speed(area: Row) -> Optional[WaveSpeed]:
    """Wave speed and time zero of a row of `scan_areas` as the survey estimated them; None where it did not."""
    values = [area[f"survey_{name}"] for name in _STATE]
    if values[0] is None or values[1] is None:
        return None
    return _speed(area, *(0.0 if value is None else value for value in values))


def present_speed(area: Row) -> Optional[WaveSpeed]:
    """The same with the depths that were verified."""
    first = survey_speed(area)
    if first is None or area["speed_m_ns"] is None:
        return first
    return _speed(area, *(area[name] for name in _STATE))


def _speed(area: Row, speed_m_ns, sigma_m_ns, time_zero_ns, sigma_time_zero_ns, correlation) -> WaveSpeed:
    return WaveSpeed(
        area["area_key"],
        speed_m_ns,
        sigma_m_ns,
        time_zero_ns,
        sigma_time_zero_ns,
        area["survey_method"] or "",
        correlation,
        antenna_separation_m=area["antenna_separation_m"] or 0.0,
    )


@dataclass(frozen=True)
class Measured:
    """A depth that an opening measured on an observation: where the survey put it and what was found, metres, with 1-sigmas."""

    name: str
    stated_m: float
    found_m: float
    own_m: float
    sigma_m: float


@dataclass(frozen=True)
class Corrections:
    """What verified depths change in each area: its wave speed, and the error that items at equal depth have in common."""

    areas: Mapping[str, Row]
    measured: Mapping[str, Sequence[Measured]]

    def depths(self, keys: Sequence[str], depths_m, own_m: float = 0.0) -> np.ndarray:
        """Depths that a survey stated as they are now (mean over the areas they come from), metres; `own_m`: own 1-sigma."""
        depths = np.asarray(depths_m, float)
        moved = []
        for key in keys:
            area = self.areas[key]
            now = depths
            if area["verified_by"] and area["antenna_separation_m"]:
                now = moved_depths(depths, area["antenna_separation_m"], survey_speed(area), present_speed(area))
                now = now + self._common(key, float(np.mean(depths)), own_m)[0]
            moved.append(now)
        return np.mean(moved, axis=0) if moved else depths

    def sigmas(self, keys: Sequence[str], depth_m: float, own_m: float, speed_m: float) -> Tuple[float, float]:
        """Own 1-sigma of a depth and that from wave speed and time zero, metres: as they are now, from what the survey stated."""
        own, common = [], []
        for key in keys:
            verified = bool(self.areas[key]["verified_by"])
            common.append(float(present_speed(self.areas[key]).depth_sigma_m(depth_m)) if verified else speed_m)
            own.append(self._common(key, depth_m, own_m)[1] if verified else own_m)
        if not keys:
            return own_m, speed_m
        return float(np.sqrt(np.mean(np.square(own)))), float(np.sqrt(np.mean(np.square(common))))

    def _common(self, key: str, depth_m: float, own_m: float) -> Tuple[float, float]:
        """Shift by the common error, and the own 1-sigma that is left: a linear update (Kalman) with all openings of the area.

        Depth errors i and j of an area have the covariance J_i P J_j' (speed and time zero, as far as the survey knew them) and
        `known_depths.common_covariance` besides, of which the wave speed took its part with the same covariances.
        """
        from ..items.known_depths import common_covariance

        found = self.measured.get(key, ())
        if not found or not own_m:
            return 0.0, own_m
        depths = np.array([depth_m, *(one.stated_m for one in found)])
        owns = np.array([own_m, *(one.own_m for one in found)])
        alike = common_covariance(depths, owns)
        by_speed = _speed_covariance(survey_speed(self.areas[key]), depths)
        among = by_speed[1:, 1:] + alike[1:, 1:]
        np.fill_diagonal(among, np.diag(by_speed)[1:] + owns[1:] ** 2 + [one.sigma_m**2 for one in found])
        gain = np.linalg.solve(among, np.column_stack([[one.found_m - one.stated_m for one in found], alike[0, 1:]]))
        left = own_m**2 - alike[0, 1:] @ gain[:, 1] - 2.0 * by_speed[0, 1:] @ gain[:, 1]
        return float(alike[0, 1:] @ gain[:, 0]), float(np.sqrt(max(left, LEAST_M**2)))


def _speed_covariance(speed: WaveSpeed, depths_m: np.ndarray) -> np.ndarray:
    """Covariance of depths from wave speed and time zero (first order, as `WaveSpeed.depth_sigma_m`), square metres."""
    slopes = np.column_stack(speed.depth_slopes_m(depths_m))
    return slopes @ np.array([[1.0, speed.correlation], [speed.correlation, 1.0]]) @ slopes.T


def update_speeds(book: Book) -> Corrections:
    """Works out the wave speed of every area anew from its survey and from all verified depths."""
    from ..items.known_depths import KnownDepth, correlation_of_known, speed_from_depth
    from ..speed.combination import combine_with_known

    measured = _measured_depths(book)
    used: Dict[str, List[Measured]] = {}
    for area in book.rows("scan_areas"):
        key, first = area["area_key"], survey_speed(area)
        row = dict(area, verified_by=None, warnings=None)
        row.update(dict.fromkeys(_STATE) if first is None else {name: getattr(first, name) for name in _STATE})
        known = measured.get(key, []) if first is not None else []
        if known and first.method.endswith(_HAS_KNOWN):
            # It may be the very same opening: counted again, the result would look surer than it is.
            row["warnings"] = tr(
                "The survey itself used known depths, so verified depths are not counted a second time for the wave "
                "speed; to use a further one, enter it in known_depths.csv and process the survey again."
            )
        elif known:
            used[key] = known
            evidence = [
                speed_from_depth(
                    area["antenna_separation_m"],
                    first,
                    KnownDepth(key, "item", (np.nan, np.nan), one.found_m, one.sigma_m, one.name),
                    one.stated_m,
                    one.own_m,
                )
                for one in known
            ]
            depths = [(one.stated_m, one.own_m, one.sigma_m) for one in known]
            now = combine_with_known(first, evidence, correlation_of_known(*np.transpose(depths)))
            row.update({name: getattr(now, name) for name in _STATE})
            row.update(verified_by=",".join(one.name for one in known), warnings="\n".join(now.warnings))
        book.put("scan_areas", row)
    return Corrections(book.tables["scan_areas"], used)


def _measured_depths(book: Book) -> Dict[str, List[Measured]]:
    """By area, each depth that an opening measured there."""
    from ..items.known_depths import ITEM_SIGMA_M

    seen: Dict[str, List[Row]] = {}
    for row in book.rows("observations"):
        if row["outcome"] == SEEN and row[GEOMETRY] and row["source"] != BY_SURVEYOR:
            seen.setdefault(row["item_id"], []).append(row)
    found: Dict[str, List[Measured]] = {}
    for one in book.rows("verifications"):
        if one["outcome"] != VERIFIED or one["method"] not in EXPOSURES or one["depth_m"] is None or not one[GEOMETRY]:
            continue
        for row in seen.get(one["item_id"], []):
            _, (away,), (foot,) = nearest_on(row[GEOMETRY], [one[GEOMETRY]])
            if away > LARGEST_GAP_M:
                continue  # the survey saw another stretch of the item
            own = max(row["sigma_own_depth_m"] or 0.0, ITEM_SIGMA_M)
            for key in _areas_at(book, row, one[GEOMETRY]):
                if book.tables["scan_areas"][key]["antenna_separation_m"]:
                    depth = -float(foot[2])
                    measured = Measured(one["verification_id"], depth, one["depth_m"], own, one["sigma_depth_m"])
                    found.setdefault(key, []).append(measured)
    return found


def _areas_at(book: Book, observation: Row, place: Sequence[float]) -> List[str]:
    """Areas of an observation that hold a place; all of them where none does."""
    areas = areas_of(book, observation)
    holding = [key for key in areas if book.tables["scan_areas"][key][GEOMETRY]]
    holding = [key for key in holding if contains(book.tables["scan_areas"][key][GEOMETRY], place)]
    return holding or areas


def areas_of(book: Book, observation: Row) -> List[str]:
    """Keys of the scan areas of an observation."""
    names = (observation["area_ids"] or "").split(",")
    keys = [f"{observation['survey_id']}/{name.strip()}" for name in names if name.strip()]
    return [key for key in keys if key in book.tables["scan_areas"]]


def speed_areas(book: Book, row: Row) -> List[str]:
    """Areas whose wave speed an observation's depth hangs on; none where a surveyor drew it."""
    return [] if row["source"] == BY_SURVEYOR else areas_of(book, row)


def number_in(name: str) -> int:
    """The number in a name of the record, as 12 in S12."""
    return int(name[1:]) if name[1:].isdigit() else 0


def moved_depths(depths_m, separation_m: float, before: WaveSpeed, after: WaveSpeed) -> np.ndarray:
    """Depths (metres) as they come out with another wave speed and time zero: the instant of the echo stays."""
    path = two_leg_path(0.0, np.asarray(depths_m, float), separation_m, "across", 0.0, NOMINAL_RADIUS_M)
    time = path / before.speed_m_ns - (after.time_zero_ns - before.time_zero_ns)
    return depth_of_path(time * after.speed_m_ns, separation_m, "across", NOMINAL_RADIUS_M)
