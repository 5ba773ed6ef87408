"""Which holes touch unknown ground (`floor.unknown_ground`), and why that ground is unknown, in words."""

from dataclasses import dataclass
from typing import Dict, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..floor.hidden_ground import HiddenStrip
from ..floor.unknown_ground import KnownGround
from ..geometry.polygons import distance_inside, edges_of
from .model import Confidence, KindRule, Penetrations

# Points along an inclined hole at which it is compared with what is known, metres.
STATION_M = 0.005


def edge_distance_m(rule: KindRule, tolerance_m, confidence: Confidence):
    """Distance to keep between a hole's rim and the edge of what is known, metres.

    As from an object of unknown kind whose middle lies just outside.
    """
    return rule.largest_diameter_m / 2 + confidence.needed_m(rule.keep_out_m, np.asarray(tolerance_m, float))


OUTSIDE, ONE_WAY, TOO_DEEP, HIDDEN = "outside", "one way", "too deep", "hidden"


@dataclass(frozen=True)
class Unknowns:
    """Why holes touch what is unknown, by hole: the kind of gap and a part of a sentence. Holes that do not are missing."""

    reasons: Dict[int, Tuple[str, str]]


def find_unknowns(holes: Penetrations, ground: KnownGround, edge_rule: KindRule, confidence: Confidence) -> Unknowns:
    """Which holes touch, or come too close to, what is unknown."""
    from scipy.special import ndtri

    hole, points = _stations(holes)
    rim = holes.diameter_m / 2
    keep = rim + edge_distance_m(edge_rule, holes.tolerance_m, confidence)
    sigmas = float(ndtri(confidence.keep_out))
    needed = ground.needed_depth_m(holes.entry_m, holes.reached_depth_m)
    inside = {
        directions: _least(distance_inside(points, ground.outline_of_all(directions, sigmas)), hole, len(holes))
        for directions in (1, 2)
    }
    deep = np.full(len(holes), -np.inf)
    depths = ground.depths_m
    enough = np.array([np.sum(depths >= need) for need in needed])
    for count in np.unique(enough[enough > 0]):
        own = enough == count
        at = own[hole]
        edges = ground.outline(depths[count - 1], sigmas)
        found = _least(distance_inside(points[at], edges), hole[at], len(holes))
        deep[own] = found[own]
    reasons: Dict[int, Tuple[str, str]] = {}
    for i in np.flatnonzero(deep < keep):
        if inside[1][i] < keep[i]:
            reasons[i] = OUTSIDE, _where_outside(inside[1][i], rim[i], keep[i], ground.unplaced)
        elif inside[2][i] < keep[i]:
            reasons[i] = (
                ONE_WAY,
                tr("it was scanned in one direction only, so that objects along the lines can be missed"),
            )
        else:
            reached = tr(
                "it reaches {reached_depth:.0f} mm deep, below what was seen there",
                reached_depth=1000 * holes.reached_depth_m[i],
            )
            seen = depths[depths < needed[i]]
            reasons[i] = TOO_DEEP, reached + (f" ({1000 * seen[0]:.0f} mm)" if len(seen) else "")
    _add_hidden(holes, hole, points, ground.strips, reasons)
    return Unknowns(reasons)


def _stations(holes: Penetrations) -> Tuple[np.ndarray, np.ndarray]:
    """Points along the holes' axes in plan, at most `STATION_M` apart: index of the hole, and x, y."""
    run = holes.depth_m * np.sin(holes.tilt_rad)
    counts = np.ceil(run / STATION_M).astype(int) + 1
    hole = np.repeat(np.arange(len(holes)), counts)
    number = np.arange(len(hole)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = number / np.maximum(counts[hole] - 1, 1)
    return hole, holes.entry_m[hole] + (share * holes.depth_m[hole])[:, None] * holes.axis[hole, :2]


def _least(values: np.ndarray, hole: np.ndarray, count: int) -> np.ndarray:
    least = np.full(count, np.inf)
    np.minimum.at(least, hole, values)
    return least


def _where_outside(inside_m: float, rim_m: float, keep_m: float, unplaced: Sequence[str]) -> str:
    if inside_m <= -rim_m:
        text = tr("it lies outside what was scanned")
        if unplaced:
            names = ", ".join(unplaced)
            text += tr(" (areas without a position on the site grid, which may lie there: {names})", names=names)
        return text
    if inside_m < rim_m:
        return tr("it lies partly outside what was scanned")
    return tr(
        "its rim is {inside:.0f} mm from the edge of what was scanned, closer than the {keep:.0f} mm within which an "
        "unseen object may reach it",
        inside=1000 * (inside_m - rim_m),
        keep=1000 * (keep_m - rim_m),
    )


def _add_hidden(holes, hole, points, strips: Sequence[HiddenStrip], reasons) -> None:
    """Holes that pass through strips of hidden ground."""
    if not strips or not len(points):
        return
    from scipy.spatial import cKDTree

    centres = np.array([one.corners_m[:4].mean(axis=0) for one in strips])
    size = max(float(np.max(np.hypot(*(one.corners_m - middle).T))) for one, middle in zip(strips, centres))
    near = cKDTree(centres).query_ball_point(points, size + holes.diameter_m[hole] / 2, return_sorted=True)
    for station, found in enumerate(near):
        i = hole[station]
        for number in found:
            strip = strips[number]
            if i in reasons or holes.reached_depth_m[i] <= strip.depth_m:
                continue
            if (
                distance_inside(points[station : station + 1], edges_of([strip.corners_m]))[0]
                > -holes.diameter_m[i] / 2
            ):
                reasons[i] = HIDDEN, strip.reason
