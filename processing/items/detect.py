"""Items of one area: all groups of lines searched, the findings joined, described and given their uncertainty."""

from dataclasses import dataclass, replace
from functools import partial
from typing import List, Optional, Tuple

import numpy as np

from ..language import tr
from ..monitor import Monitor
from ..radar.imaging import DEEPEST_M, recorded_depth_m
from ..radar.line_groups import GroupImages, LineGroup, group_lines
from ..radar.migration import ImageGrid
from ..radar.model import SlabBase, WaveSpeed
from ..radar.prepare import PreparedArea
from ..together import run_together
from .group_search import THRESHOLD, Found, GroupSearch
from .kinds import Evidence, judge
from .laps import split_at_lap
from .line_errors import correct, estimate_line_errors, straight_rows
from .model import Item, Pick
from .polarity import is_void, metal_turn
from .refine import fit_curve
from .stack import ALONG_LAG, middle_m

MARGIN_M = 0.06
IMAGE_STEP_M = 0.005
SHALLOWEST_M = 0.012
# Parts of the 1-sigma that do not come from the scatter of the sightings: residual line position, model of the echo (from the
# calibration on simulated surveys), and what an upper bar close beside the line does to the depth of a lower one.
LINE_SIGMA_M, LATERAL_FLOOR_M, DEPTH_FLOOR_M, SHADOW_SIGMA_M = 0.0045, 0.0015, 0.0012, 0.003
# The echo of a void depends on its wall and size, which are not known: its extremum tells the top less well than metal's does.
# On simulated conduits of 25 to 32 mm it lay 2 to 3 mm above the top.
VOID_SIGMA_M, VOID_TOP_M = 0.003, 0.0025
SHADOW_M = 0.035
VERTEX_STEP_M, STROKE_M = 0.05, 0.06
# A chain of short pieces whose sightings do not fall into line better than this is no object.
LARGEST_BENT_SIGMA_M = 0.012
# Laps are looked for in what crosses the lines squarely, as bars do.
LARGEST_LAP_CROSSING_RAD = np.radians(12.0)


@dataclass(eq=False)
class Detected:
    """One object in the area's local frame, before it becomes an `Item`; `step_m` is that of a lap, 0 where there is none."""

    search: GroupSearch
    found: Found
    w_m: np.ndarray
    path_m: np.ndarray
    depth_m: np.ndarray
    sigma_xy_m: float
    sigma_depth_m: float
    used: np.ndarray
    sigma_course_m: float
    step_m: float = 0.0

    @property
    def direction(self) -> np.ndarray:
        d = self.path_m[-1] - self.path_m[0]
        return d / np.hypot(*d)

    @property
    def middle(self) -> np.ndarray:
        return 0.5 * (self.path_m[0] + self.path_m[-1])


def detect_items(
    prepared: PreparedArea,
    speed: WaveSpeed,
    base: Optional[SlabBase] = None,
    monitor: Monitor = Monitor(),
) -> Tuple[List[Pick], List[Item]]:
    """Find the bars, tendons and conduits of one area.

    Parameters
    ----------
    base : SlabBase, optional
        Where the slab base is seen: nothing at or below it is taken for an item.

    Returns
    -------
    picks, items
        In the area's local grid; depths to the top, metres.
    """
    base_m = float(np.nanmedian(base.thickness_m)) if base is not None and base.seen else None
    deepest = min(DEEPEST_M, recorded_depth_m(prepared, speed), base_m + 0.02 if base_m else np.inf)
    wavelength = speed.speed_m_ns / prepared.area.centre_frequency_ghz

    def search_group(group: LineGroup, own: Monitor) -> GroupSearch:
        low, high = group.extent_m
        grid = ImageGrid(
            np.arange(low - MARGIN_M, high + MARGIN_M + 1e-6, IMAGE_STEP_M),
            np.arange(SHALLOWEST_M, deepest, wavelength / 32),
        )
        search = GroupSearch(GroupImages(prepared, group, speed, grid), base_m)
        search.run(own)
        return search

    searches = run_together([partial(search_group, group) for group in group_lines(prepared)], monitor.part(0.0, 0.9))
    shallow = shallow_bars(searches)
    detected = [one for search in searches for one in describe(search, speed, shallow)]
    detected = join_directions(detected, wavelength)
    return name_items(prepared, detected)


def shallow_bars(searches: List[GroupSearch]) -> List[Tuple[np.ndarray, np.ndarray, float]]:
    """Ends (local x, y) and depth of every object found, to ask later which passes run close beside an upper one."""
    out = []
    for search in searches:
        if len(search.offsets) < 2:
            continue
        span = np.array([search.offsets[0], search.offsets[-1]])
        middle = middle_m(search.images)
        for one in search.found:
            u, z = search.place(one)
            u_ends = np.interp(span, search.offsets, u)
            ends = search.images.group.to_local(u_ends, span + middle)
            out.append((ends[0], ends[1], float(np.median(z))))
    return out


def beside_upper_bar(search: GroupSearch, u, depth_m: float, uppers) -> np.ndarray:
    """Which passes, where they cross the object at u, run within 35 mm of a shallower bar along them; bool, shape (pass,)."""
    points = search.images.group.to_local(u, search.images.group.offsets_m)
    out = np.zeros(len(points), bool)
    for start, end, upper_depth in uppers:
        along = (end - start) / np.hypot(*(end - start))
        if upper_depth > depth_m - 0.006 or abs(along @ search.images.group.direction) < 0.9:
            continue
        away = np.abs((points - start) @ np.array([-along[1], along[0]]))
        out |= away < SHADOW_M
    return out


def describe(search: GroupSearch, speed: WaveSpeed, uppers) -> List[Detected]:
    """Line errors taken off, final curves, depths to the top, ends and sigmas of a group's objects."""
    if not search.found:
        return []
    u_rows, weight_rows = straight_rows(search.found)
    start, scale = estimate_line_errors(search.offsets, u_rows, weight_rows)
    known = np.isfinite(u_rows) & (weight_rows > 0)
    middle = float(np.mean(u_rows[known])) if known.any() else 0.0
    out = []
    for one in search.found:
        if not (one.sightings.seen & (one.sightings.weight > 0)).any():
            continue
        sightings = replace(one.sightings, u_m=correct(one.sightings.u_m, start, scale, middle))
        used = present_passes(sightings) & (True if one.where is None else one.where)
        parts, step = [used], 0.0
        if one.where is None and one.track.crossing_rad < LARGEST_LAP_CROSSING_RAD:
            parts, step = split_at_lap(sightings, used)
        depth = top_depths(search, one)
        for part in parts:
            described = _describe_part(search, speed, uppers, replace(one, sightings=sightings), depth, part, step)
            if described is not None:
                out.append(described)
    return out


def _describe_part(search, speed, uppers, one: Found, depth, used, step_m: float) -> Optional[Detected]:
    """One object, or one bar of a lap, on the passes `used`; None where it is no object after all."""
    sightings = one.sightings
    shadowed = beside_upper_bar(search, np.nan_to_num(sightings.u_m), float(np.nanmedian(depth)), uppers)
    clear = np.isfinite(depth) & ~shadowed
    enough = (clear & used).sum() >= 3
    weight = np.where(used, sightings.weight, 0.0)
    cleaned = replace(sightings, depth_m=np.where(clear, depth, np.nan) if enough else depth, weight=weight)
    if one.where is None:
        curve = fit_curve(cleaned, lateral_degree=1)
        bent = fit_curve(cleaned, lateral_degree=2)
        curve = bent if not step_m and worth_bending(cleaned, curve, bent) else curve
    else:
        curve = fit_curve(cleaned, lateral_degree=len(one.curve.u) - 1)
    first, last = np.flatnonzero(used)[[0, -1]]
    w = path_offsets(search.offsets[first], search.offsets[last])
    w, path_u, path_z = clip_to_lines(search, w, *curve.at(w))
    if len(w) < 2:
        return None
    count = max(int((used & sightings.seen).sum()), 1)
    along_u, along_z = curve.sigma_at(w)
    sigma_xy = np.sqrt(4 * np.mean(along_u**2) + LINE_SIGMA_M**2 / count + LATERAL_FLOOR_M**2 + (0.5 * step_m) ** 2)
    sigma_xy *= np.cos(one.track.crossing_rad)
    if one.where is not None and sigma_xy > LARGEST_BENT_SIGMA_M:
        return None
    sigma_z = np.sqrt(
        np.mean(along_z**2)
        + float(speed.depth_sigma_m(np.median(path_z))) ** 2
        + DEPTH_FLOOR_M**2
        + (0.0 if enough else SHADOW_SIGMA_M**2)
        + (VOID_SIGMA_M**2 if is_void(sightings) else 0.0)
    )
    return Detected(
        search,
        replace(one, sightings=replace(sightings, depth_m=depth, curve=curve)),
        w,
        search.images.group.to_local(path_u, w + middle_m(search.images)),
        path_z,
        float(sigma_xy),
        float(sigma_z),
        used & sightings.seen,
        float(np.sqrt(np.mean(along_z**2))),
        step_m,
    )


def path_offsets(first_m: float, last_m: float) -> np.ndarray:
    """Where along w the vertices of a path lie; a sighting on one line becomes a short stroke across that line."""
    if last_m - first_m < 1e-6:
        return np.array([first_m - STROKE_M / 2, first_m + STROKE_M / 2])
    return np.linspace(first_m, last_m, int((last_m - first_m) / VERTEX_STEP_M) + 2)


def top_depths(search: GroupSearch, one: Found) -> np.ndarray:
    """Depth to the top on each pass: the echo's main extremum instead of its envelope's maximum; shape (pass,), metres.

    Metal: negative extremum of the `across` images, which needs no lag (measured: 0 +- 15 ps between 30 and 300 mm). Void:
    positive extremum of the `along` images, which lies a little above the top.
    """
    sightings = one.sightings
    if is_void(sightings):
        axis, turn, lag = "along", sightings.phase_rad["along"], -VOID_TOP_M
    elif np.isfinite(sightings.axis_depth_m["across"]).any():
        axis, turn, lag = "across", metal_turn(sightings.phase_rad["across"]), 0.0
    else:
        axis, turn, lag = "along", metal_turn(sightings.phase_rad["along"]), ALONG_LAG * search.wavelength
    return sightings.axis_depth_m[axis] - turn * search.wavelength / (4 * np.pi) - lag


def present_passes(sightings) -> np.ndarray:
    """The stretch of passes on which the object really is: the run with the most evidence; bool, shape (pass,).

    Each pass votes with its matched amplitude relative to the object's own median, less a half; the run with the largest sum
    wins, so that a shaded pass in the middle does not cut an object, while a missing end does.
    """
    weight = np.where(sightings.seen, sightings.weight, 0.0)
    strong = weight[weight > 0]
    if not len(strong):
        return np.zeros(len(weight), bool)
    votes = np.clip(weight / np.median(np.sort(strong)[len(strong) // 3 :]), 0, 1.2) - 0.4
    sums = np.concatenate([[0.0], np.cumsum(votes)])
    best, run = -np.inf, (0, len(weight))
    for first in range(len(weight)):
        last = first + 1 + int(np.argmax(sums[first + 1 :]))
        if sums[last] - sums[first] > best:
            best, run = sums[last] - sums[first], (first, last)
    out = np.zeros(len(weight), bool)
    out[run[0] : run[1]] = True
    # One pass at an end is too little to tell an end from a bad coupling.
    if run[0] == 1:
        out[0] = True
    if run[1] == len(weight) - 1:
        out[-1] = True
    return out


def worth_bending(sightings, straight, bent) -> bool:
    """Whether a curved course fits so much better (robust scatter, Bayesian criterion with a margin) that it is believed."""
    use = sightings.seen & (sightings.weight > 0)
    count = int(use.sum())
    if count < 8:
        return False
    scatter = [
        max(1.4826 * np.median(np.abs(sightings.u_m[use] - curve.at(sightings.w_m[use])[0])), 0.0015)
        for curve in (straight, bent)
    ]
    return 2 * count * np.log(scatter[0] / scatter[1]) > np.log(count) + 8.0


def clip_to_lines(search: GroupSearch, w, u, z):
    """Cut a path where it leaves the scanned lines at their ends."""
    low, high = search.images.group.extent_m
    inside = (u >= low - 0.01) & (u <= high + 0.01)
    if not inside.any():
        return w[:0], u[:0], z[:0]
    first, last = np.flatnonzero(inside)[[0, -1]]
    return w[first : last + 1], u[first : last + 1], z[first : last + 1]


def join_directions(detected: List[Detected], wavelength: float) -> List[Detected]:
    """An oblique object can be found by both groups of lines: keep the better one of two that coincide."""
    kept: List[Detected] = []
    for one in sorted(detected, key=lambda d: -d.found.track.strength):
        for other in kept:
            if other.search is one.search or abs(one.direction @ other.direction) < np.cos(np.radians(8.0)):
                continue
            normal = np.array([-other.direction[1], other.direction[0]])
            apart = abs((one.middle - other.middle) @ normal)
            if apart < 0.5 * wavelength and abs(np.median(one.depth_m) - np.median(other.depth_m)) < 0.5 * wavelength:
                break
        else:
            kept.append(one)
    return kept


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
                "Its course goes {step:.0f} mm aside between two lines: a lap, or two bars too near to be told apart.",
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
    level = max(0.012, 0.15 * wavelength)
    parallel = [other for other in everything if other is not one and angle(one, other) < 3.0]
    row = [other for other in parallel if abs(np.median(other.depth_m) - depth) < level]
    mats = [a for a in everything if sum(angle(a, b) < 3.0 for b in everything) >= 3]
    off = min((angle(one, mat) for mat in mats if mat is not one), default=np.nan)
    length = np.hypot(*np.diff(one.path_m, axis=0).T).sum()
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
    flat_row = [other for other in row if abs(slope_along(other, one.direction)) < 0.02]
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
    residual = np.abs(sightings.u_m - sightings.curve.at(sightings.w_m)[0])
    scatter_u = max(1.4826 * float(np.nanmedian(residual[one.used])), 0.0015)
    depths = sightings.depth_m
    scatter_z = max(
        1.4826 * float(np.nanmedian(np.abs(depths - sightings.curve.at(sightings.w_m)[1])[one.used])), 0.0015
    )
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
