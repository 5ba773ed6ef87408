"""What was found, made exact: line errors taken off, ends, curve, depth to the top and 1-sigma of each object of a group."""

from dataclasses import dataclass, replace
from typing import List, Optional

import numpy as np

from ..common.robust import robust_sigma
from ..geometry.mat import ALONG_LINES, BESIDE_M
from ..radar.model import WaveSpeed
from ..tracks.lap_splice import split_at_lap
from ..tracks.line_errors import correct, estimate_line_errors, straight_rows
from ..tracks.polarity import is_void, metal_turn
from ..tracks.refine import fit_curve
from ..tracks.search import Found, GroupSearch
from ..tracks.stack import ALONG_LAG, middle_m

# Parts of the 1-sigma that do not come from the scatter of the sightings: residual line position, model of the echo (from the
# calibration on simulated surveys), and what an upper bar close beside the line does to the depth of a lower one.
LINE_SIGMA_M, LATERAL_FLOOR_M, DEPTH_FLOOR_M, SHADOW_SIGMA_M = 0.0045, 0.0015, 0.0012, 0.003
# Upper bars shade one limb of a lower one's echo more than the other: in plan, for each metre of depth.
LATERAL_PER_DEPTH = 0.007
# The echo of a void depends on its wall and size, which are not known: its extremum tells the top less well than metal's does.
# On simulated conduits of 25 to 32 mm it lay 2 to 3 mm above the top.
VOID_SIGMA_M, VOID_TOP_M = 0.003, 0.0025
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
    sigma_xy = np.sqrt(
        4 * np.mean(along_u**2)
        + LINE_SIGMA_M**2 / count
        + LATERAL_FLOOR_M**2
        + (LATERAL_PER_DEPTH * np.median(path_z)) ** 2
        + (0.5 * step_m) ** 2
    )
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


def beside_upper_bar(search: GroupSearch, u, depth_m: float, uppers) -> np.ndarray:
    """Which passes, where they cross the object at u, run within 35 mm of a shallower bar along them; bool, shape (pass,)."""
    points = search.images.group.to_local(u, search.images.group.offsets_m)
    out = np.zeros(len(points), bool)
    for start, end, upper_depth in uppers:
        along = (end - start) / np.hypot(*(end - start))
        if upper_depth > depth_m - 0.006 or abs(along @ search.images.group.direction) < ALONG_LINES:
            continue
        away = np.abs((points - start) @ np.array([-along[1], along[0]]))
        out |= away < BESIDE_M
    return out


def path_offsets(first_m: float, last_m: float) -> np.ndarray:
    """Where along w the vertices of a path lie; a sighting on one line becomes a short stroke across that line."""
    if last_m - first_m < 1e-6:
        return np.array([first_m - STROKE_M / 2, first_m + STROKE_M / 2])
    return np.linspace(first_m, last_m, int((last_m - first_m) / VERTEX_STEP_M) + 2)


def clip_to_lines(search: GroupSearch, w, u, z):
    """Cut a path where it leaves the scanned lines at their ends."""
    low, high = search.images.group.extent_m
    inside = (u >= low - 0.01) & (u <= high + 0.01)
    if not inside.any():
        return w[:0], u[:0], z[:0]
    first, last = np.flatnonzero(inside)[[0, -1]]
    return w[first : last + 1], u[first : last + 1], z[first : last + 1]


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
        max(robust_sigma(sightings.u_m[use] - curve.at(sightings.w_m[use])[0]), 0.0015) for curve in (straight, bent)
    ]
    return 2 * count * np.log(scatter[0] / scatter[1]) > np.log(count) + 8.0
