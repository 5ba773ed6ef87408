"""What a measured depth says of the wave speed of the whole area, and what that does to the depths of everything else in it.

An opening that finds an item's top at another depth than the radar's tells that wave speed or time zero were off, within their own
uncertainty. Both are estimated anew from the survey's estimate (with its covariance) and all depths measured in the area, as known
depths of a survey are (`items.known_depths`, `radar.wave_speed.combine_with_known`). Always from the survey's estimate, never from
the latest result, so that the order does not matter and nothing is counted twice.

What needs scipy is imported when it is first needed, so that a record can be read without it.
"""

from typing import Dict, List, Mapping, Optional, Sequence

import numpy as np

from ..items.join import LARGEST_GAP_M
from ..radar.geometry import depth_of_path, two_leg_path
from ..radar.model import WaveSpeed
from . import shapes
from .history import Book
from .schema import EXPOSURES, GEOMETRY, SEEN, VERIFIED
from .store import Row

_STATE = ("speed_m_ns", "sigma_m_ns", "time_zero_ns", "sigma_time_zero_ns", "correlation")
BY_SURVEYOR = "surveyor"
# How `combine_with_known` ends the name of a method in which known depths took part.
_HAS_KNOWN = " known"


def survey_speed(area: Row) -> Optional[WaveSpeed]:
    """Wave speed and time zero of a row of `scan_areas` as the survey estimated them; None where it did not."""
    values = [area[f"survey_{name}"] for name in _STATE]
    if values[0] is None or values[1] is None:
        return None
    speed, sigma, zero, sigma_zero, correlation = (0.0 if value is None else value for value in values)
    return WaveSpeed(area["area_key"], speed, sigma, zero, sigma_zero, area["survey_method"] or "", correlation)


def present_speed(area: Row) -> Optional[WaveSpeed]:
    """The same with the depths that were verified."""
    first = survey_speed(area)
    if first is None or area["speed_m_ns"] is None:
        return first
    speed, sigma, zero, sigma_zero, correlation = (area[name] for name in _STATE)
    return WaveSpeed(area["area_key"], speed, sigma, zero, sigma_zero, first.method, correlation)


def update_speeds(book: Book) -> None:
    """Works out the wave speed of every area anew from its survey and from all verified depths."""
    from ..radar.wave_speed import combine_with_known

    measured = _measured_depths(book)
    for area in book.rows("scan_areas"):
        first = survey_speed(area)
        row = dict(area, verified_by=None, warnings=None)
        row.update(dict.fromkeys(_STATE) if first is None else {name: getattr(first, name) for name in _STATE})
        known = measured.get(area["area_key"], []) if first is not None else []
        if known and first.method.endswith(_HAS_KNOWN):
            # It may be the very same opening: counted again, the result would look surer than it is.
            row["warnings"] = (
                "The survey itself used known depths, so that verified depths are not counted again for the wave speed; to use a "
                "further one, enter it in known_depths.csv and process the survey anew."
            )
        elif known:
            now = combine_with_known(first, [evidence for _, evidence in known])
            row.update({name: getattr(now, name) for name in _STATE})
            row.update(verified_by=",".join(name for name, _ in known), warnings="\n".join(now.warnings))
        book.put("scan_areas", row)


def _measured_depths(book: Book) -> Dict[str, List]:
    """By area: (verification, evidence of the speed) of each depth that an opening measured there."""
    from ..items.known_depths import ITEM_SIGMA_M, KnownDepth, speed_from_depth

    seen: Dict[str, List[Row]] = {}
    for row in book.rows("observations"):
        if row["outcome"] == SEEN and row[GEOMETRY] and row["source"] != BY_SURVEYOR:
            seen.setdefault(row["item_id"], []).append(row)
    found: Dict[str, List] = {}
    for one in book.rows("verifications"):
        if one["outcome"] != VERIFIED or one["method"] not in EXPOSURES or one["depth_m"] is None or not one[GEOMETRY]:
            continue
        for row in seen.get(one["item_id"], []):
            away, height, _ = shapes.nearest_on(row[GEOMETRY], one[GEOMETRY])
            if away > LARGEST_GAP_M:
                continue  # the survey saw another stretch of the item
            for key in _areas_at(book, row, one[GEOMETRY]):
                area = book.tables["scan_areas"][key]
                first = survey_speed(area)
                if first is None or not area["antenna_separation_m"]:
                    continue
                name = one["verification_id"]
                known = KnownDepth(key, "item", tuple(one[GEOMETRY][:2]), one["depth_m"], one["sigma_depth_m"], name)
                own = max(row["sigma_own_depth_m"] or 0.0, ITEM_SIGMA_M)
                evidence = speed_from_depth(area["antenna_separation_m"], first, known, -height, own)
                found.setdefault(key, []).append((name, evidence))
    return found


def _areas_at(book: Book, observation: Row, place: Sequence[float]) -> List[str]:
    """Areas of an observation that hold a place; all of them where none does."""
    areas = areas_of(book, observation)
    holding = [key for key in areas if book.tables["scan_areas"][key][GEOMETRY]]
    holding = [key for key in holding if shapes.contains(book.tables["scan_areas"][key][GEOMETRY], place)]
    return holding or areas


def areas_of(book: Book, observation: Row) -> List[str]:
    """Keys of the scan areas of an observation."""
    names = (observation["area_ids"] or "").split(",")
    keys = [f"{observation['survey_id']}/{name.strip()}" for name in names if name.strip()]
    return [key for key in keys if key in book.tables["scan_areas"]]


def moved_depths(depths_m, separation_m: float, before: WaveSpeed, after: WaveSpeed) -> np.ndarray:
    """Depths (metres) as they come out with another wave speed and time zero: the instant of the echo stays."""
    from ..radar.migration import NOMINAL_RADIUS_M

    path = two_leg_path(0.0, np.asarray(depths_m, float), separation_m, "across", 0.0, NOMINAL_RADIUS_M)
    time = path / before.speed_m_ns - (after.time_zero_ns - before.time_zero_ns)
    return depth_of_path(time * after.speed_m_ns, separation_m, "across", NOMINAL_RADIUS_M)


def depths_now(areas: Mapping[str, Row], keys: Sequence[str], depths_m) -> np.ndarray:
    """Depths that a survey stated, with the present wave speeds of the areas they come from (their mean), metres."""
    depths = np.asarray(depths_m, float)
    moved = []
    for key in keys:
        area = areas[key]
        if area["verified_by"] and area["antenna_separation_m"]:
            moved.append(moved_depths(depths, area["antenna_separation_m"], survey_speed(area), present_speed(area)))
        else:
            moved.append(depths)
    return np.mean(moved, axis=0) if moved else depths


def speed_sigma_now(areas: Mapping[str, Row], keys: Sequence[str], depth_m: float, stated_m: float) -> float:
    """1-sigma of a depth from wave speed and time zero now; `stated_m` is what the survey stated of it, metres."""
    parts = [
        float(present_speed(areas[key]).depth_sigma_m(depth_m)) if areas[key]["verified_by"] else stated_m
        for key in keys
    ]
    return float(np.sqrt(np.mean(np.square(parts)))) if parts else stated_m
