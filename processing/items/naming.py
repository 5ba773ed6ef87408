"""Names, kinds and picks of an area's objects: the last step of detection."""

from typing import List, Tuple

import numpy as np

from ..common.language import tr
from ..common.robust import robust_sigma
from ..geometry.mat import FEWEST_BARS, FLAT_SLOPE, ONE_DIRECTION_IN_AREA_DEG, layer_in_area_m
from ..geometry.polylines import length_m
from ..radar.preprocessing import PreparedArea
from ..tracks.polarity import is_void
from ..tracks.search import THRESHOLD
from .describe import Detected
from .kinds import Evidence, judge
from .model import Item, Pick


def name_items(prepared: PreparedArea, detected: List[Detected]) -> Tuple[List[Pick], List[Item]]:
    """Items and picks with their kinds; numbered by depth, then place, so that the same input gives the same names."""
    area_id = prepared.area.area_id
    order = sorted(detected, key=lambda d: (round(float(np.median(d.depth_m)), 2), *np.round(d.middle, 2).tolist()))
    picks: List[Pick] = []
    items: List[Item] = []
    for number, one in enumerate(order, start=1):
        item_id = f"{area_id}-{number:03d}"
        probabilities, reasons = judge(gather_evidence(one, detected))
        if one.step_m:
            reasons += " " + tr(
                "Its course shifts sideways by {step:.0f} mm between two lines: a lap splice, or two bars too close "
                "together to be told apart.",
                step=1000 * abs(one.step_m),
            )
        strength = one.found.track.strength / THRESHOLD
        own = make_picks(one, item_id, area_id)
        picks += own
        items.append(
            Item(
                item_id,
                (area_id,),
                np.column_stack([one.path_m, one.depth_m]),
                probabilities,
                float(np.clip(1 - np.exp(-1.5 * strength**2), 0, 0.999)),
                one.sigma_xy_m,
                one.sigma_depth_m,
                len(own),
                reasons,
            )
        )
    return picks, items


def gather_evidence(one: Detected, everything: List[Detected]) -> Evidence:
    def angle(a: Detected, b: Detected) -> float:
        return float(np.degrees(np.arccos(min(abs(a.direction @ b.direction), 1.0))))

    wavelength = one.search.wavelength
    depth = float(np.median(one.depth_m))
    level = layer_in_area_m(wavelength)
    parallel = [other for other in everything if other is not one and angle(one, other) < ONE_DIRECTION_IN_AREA_DEG]
    row = [other for other in parallel if abs(np.median(other.depth_m) - depth) < level]
    mats = [a for a in everything if sum(angle(a, b) < ONE_DIRECTION_IN_AREA_DEG for b in everything) >= FEWEST_BARS]
    off = min((angle(one, mat) for mat in mats if mat is not one), default=np.nan)
    length = length_m(one.path_m)
    slope = slope_along(one, one.direction)
    if abs(slope) * length < 4 * one.sigma_course_m:
        slope = 0.0
    usual = float(np.median([slope_along(other, one.direction) for other in row])) if row else 0.0
    elsewhere = [slope_along(other, one.direction) for other in parallel if other not in row]
    # What the row has in common; a whole slab may slope, so what parallel items at other depths do as well is no drape.
    shared = min(slope, usual, key=abs) if slope * usual > 0 else 0.0
    row_slope = shared - float(np.median(elsewhere)) if elsewhere and shared else 0.0
    chord = np.interp(np.linspace(0, 1, len(one.depth_m)), [0, 1], [one.depth_m[0], one.depth_m[-1]])
    sag = float(np.max(np.abs(one.depth_m - chord)))
    if sag < 4 * one.sigma_course_m:
        sag = 0.0
    flat_row = [other for other in row if abs(slope_along(other, one.direction)) < FLAT_SLOPE]
    row_count = 1 + len(flat_row)
    strength = one.found.track.strength / THRESHOLD
    void = is_void(one.found.sightings)
    return Evidence(row_count, off, float(slope - shared), row_slope, sag, void, strength, int(one.used.sum()))


def slope_along(one: Detected, direction: np.ndarray) -> float:
    """Change of an object's depth per metre in a direction (of the two along it, the nearer one)."""
    rise = (one.depth_m[-1] - one.depth_m[0]) / np.hypot(*(one.path_m[-1] - one.path_m[0]))
    return float(np.sign(one.direction @ direction) * rise)


def make_picks(one: Detected, item_id: str, area_id: str) -> List[Pick]:
    sightings, group = one.found.sightings, one.search.images.group
    polarity = 1 if is_void(sightings) else -1
    places = group.to_local(np.nan_to_num(sightings.u_m), group.offsets_m)
    depths = sightings.depth_m
    curve_u, curve_z = sightings.curve.at(sightings.w_m)
    scatter_u = max(robust_sigma((sightings.u_m - curve_u)[one.used]), 0.0015)
    scatter_z = max(robust_sigma((depths - curve_z)[one.used]), 0.0015)
    out = []
    for number in np.flatnonzero(one.used & np.isfinite(depths)):
        across, along = (sightings.amplitude[axis][number] for axis in ("across", "along"))
        strength = np.nanmax([sightings.strength[axis][number] for axis in ("across", "along")])
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = float(20 * np.log10(along / across))
        out.append(
            Pick(
                f"{item_id}-{number + 1:02d}",
                item_id,
                area_id,
                group.passes[number].line_id,
                float(places[number, 0]),
                float(places[number, 1]),
                float(depths[number]),
                scatter_u,
                float(np.hypot(scatter_z, one.sigma_depth_m)),
                polarity,
                float(20 * np.log10(max(strength, 1e-3))),
                ratio,
            )
        )
    return out
