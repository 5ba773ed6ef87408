"""Distances between drilled cylinders and items, and the probability that they touch.

An item is a tube of unknown size below the line of its top. Distances count to the largest size assumed of its kind; because a
smaller tube under the same top lies inside the larger one, that is the smallest distance of all sizes.
"""

from dataclasses import dataclass
from typing import List, Sequence, Tuple

import numpy as np

from ..floor.hidden_ground import StraightPieces
from .model import Confidence, Obstacle, Penetrations

# An item is found where it is scanned, but the object runs on: its ends count as that much longer.
RUNS_ON_M = 0.10
PIECE_M = 0.25
STRAIGHT_M = 0.0002
# Items further than this from a hole's rim are no concern of it, unless larger distances must be kept.
SEARCH_M = 0.20
# Steps of the search for the closest point of a piece: it ends within 0.25 m x 0.618^22 = 6 micrometres of it.
STEPS = 22
GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
# Middles and weights of five equal parts: sizes between smallest and largest are equally likely.
SIZE_PARTS = (np.arange(5) + 0.5) / 5


@dataclass(frozen=True)
class Pieces(StraightPieces):
    """All items cut into short straight pieces, with what is assumed of each (`Obstacle`): one entry an obstacle."""

    sigma_xy_m: np.ndarray
    confidence: np.ndarray
    keep_out_m: np.ndarray
    smallest_radius_m: np.ndarray
    largest_radius_m: np.ndarray


def cut_up(obstacles: Sequence[Obstacle]) -> Pieces:
    """`Pieces` of items, each run on beyond its ends by `RUNS_ON_M`."""
    starts, ends, owners = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, int)]
    for number, obstacle in enumerate(obstacles):
        vertices = _run_on(_simplified(np.asarray(obstacle.vertices_m, float)))
        for one, other in zip(vertices[:-1], vertices[1:]):
            parts = max(int(np.ceil(np.hypot(*(other - one)[:2]) / PIECE_M)), 1)
            places = one + np.linspace(0.0, 1.0, parts + 1)[:, None] * (other - one)
            starts.append(places[:-1])
            ends.append(places[1:])
            owners.append(np.full(parts, number))
    of = np.array(
        [
            (
                one.sigma_depth_m,
                one.sigma_xy_m,
                one.confidence,
                one.rule.keep_out_m,
                one.rule.smallest_diameter_m / 2,
                one.rule.largest_diameter_m / 2,
            )
            for one in obstacles
        ]
    ).reshape(len(obstacles), 6)
    return Pieces(tuple(obstacles), np.concatenate(starts), np.concatenate(ends), np.concatenate(owners), *of.T)


def _simplified(vertices: np.ndarray) -> np.ndarray:
    """The polyline without vertices that lie within `STRAIGHT_M` of the line without them (Douglas and Peucker, 1973)."""
    if len(vertices) < 3:
        return vertices
    chord = vertices[-1] - vertices[0]
    along = np.clip((vertices - vertices[0]) @ chord / max(chord @ chord, 1e-18), 0.0, 1.0)
    off = np.linalg.norm(vertices - vertices[0] - along[:, None] * chord, axis=1)
    worst = int(np.argmax(off))
    if off[worst] <= STRAIGHT_M:
        return vertices[[0, -1]]
    return np.concatenate([_simplified(vertices[: worst + 1])[:-1], _simplified(vertices[worst:])])


def _run_on(vertices: np.ndarray) -> np.ndarray:
    """The polyline, straight on at its depth beyond both ends."""
    ends = []
    for end, before in ((vertices[0], vertices[1]), (vertices[-1], vertices[-2])):
        way = end[:2] - before[:2]
        length = np.hypot(*way)
        ends.append(np.append(end[:2] + (RUNS_ON_M / length) * way, end[2]) if length > 0 else end)
    return np.vstack([ends[0], vertices, ends[1]])


@dataclass(frozen=True)
class Meetings:
    """Pairs of a hole and an item near it, sorted by hole; one entry a pair.

    Attributes
    ----------
    hole, item : ndarray of int
    distance_m : ndarray
        Between the cylinder and the surface of the largest assumed object; negative where they overlap.
    sigma_m : ndarray
        1-sigma of that distance: item, setting out, drilled depth.
    slack_m : ndarray
        Distance less what must be left; negative where the item is too close.
    touch_probability : ndarray
        That the two touch if there is an object, over its unknown size.
    """

    hole: np.ndarray
    item: np.ndarray
    distance_m: np.ndarray
    sigma_m: np.ndarray
    slack_m: np.ndarray
    touch_probability: np.ndarray


def search_distance_m(pieces: Pieces, confidence: Confidence, tolerance_m) -> np.ndarray:
    """Distance from a hole's rim within which items are looked at, metres: none farther away can be too close.

    `tolerance_m`: 1-sigma of setting out of each hole, metres; the result has its shape.
    """
    tolerance_m = np.asarray(tolerance_m, float)
    if not pieces.obstacles:
        return np.full(tolerance_m.shape, SEARCH_M)
    sigma = 2.0 * np.max(np.hypot(pieces.sigma_xy_m, pieces.sigma_depth_m)) + confidence.depth_tolerance_m
    # Setting out may be less sure than all else.
    sigma = np.maximum(sigma, np.hypot(np.max(pieces.sigma_xy_m), tolerance_m))
    return np.maximum(SEARCH_M, confidence.needed_m(np.max(pieces.keep_out_m), sigma))


def find_meetings(holes: Penetrations, pieces: Pieces, confidence: Confidence) -> Meetings:
    """Every item within `search_distance_m` of a hole's rim, with distance, sigma and probability of touching."""
    search = search_distance_m(pieces, confidence, holes.tolerance_m)
    hole, piece = _near_pairs(holes, pieces, search)
    owner = pieces.owner[piece]
    radius = holes.diameter_m[hole] / 2
    length = holes.depth_m[hole]
    entry = np.column_stack([holes.entry_m, np.zeros(len(holes))])[hole]
    axis = holes.axis[hole]
    down = pieces.largest_radius_m[owner][:, None] * np.array([0.0, 0.0, 1.0])
    start = pieces.start_m[piece] + down - entry
    way = pieces.end_m[piece] - pieces.start_m[piece]
    # Everything along and square to the hole's axis is quadratic in the place on the piece: six numbers a pair.
    start_along, way_along = np.sum(start * axis, axis=1), np.sum(way * axis, axis=1)
    squares = [np.sum(a * b, axis=1) for a, b in ((start, start), (start, way), (way, way))]
    aside = [squares[0] - start_along**2, squares[1] - start_along * way_along, squares[2] - way_along**2]

    # The way past each other in plan tells most pairs to be too far apart to matter.
    nearest = np.clip(-aside[1] / np.maximum(aside[2], 1e-18), 0.0, 1.0)
    lateral = np.sqrt(np.maximum(aside[0] + nearest * (2 * aside[1] + nearest * aside[2]), 0.0))
    near = lateral - radius - pieces.largest_radius_m[owner] <= search[hole]
    hole, owner, radius, length, upright = hole[near], owner[near], radius[near], length[near], axis[near, 2]
    start_along, way_along, aside = start_along[near], way_along[near], [one[near] for one in aside]

    def offsets(place):
        beyond = start_along + place * way_along - length
        lateral = np.sqrt(np.maximum(aside[0] + place * (2 * aside[1] + place * aside[2]), 0.0))
        return lateral, beyond

    def signed(place):
        lateral, beyond = offsets(place)
        return _signed_distance(lateral - radius, beyond)

    # The signed distance from a convex body is convex along a straight line, so golden sections close in on the least.
    low, high = np.zeros(len(hole)), np.ones(len(hole))
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_left, at_right = signed(left), signed(right)
    for _ in range(STEPS):
        go_left = at_left < at_right
        high, low = np.where(go_left, right, high), np.where(go_left, low, left)
        fresh = np.where(go_left, high - GOLDEN * (high - low), low + GOLDEN * (high - low))
        at_fresh = signed(fresh)
        left, right = np.where(go_left, fresh, right), np.where(go_left, left, fresh)
        at_left, at_right = np.where(go_left, at_fresh, at_right), np.where(go_left, at_left, at_fresh)
    place = (low + high) / 2
    ends = np.stack([np.zeros_like(place), place, np.ones_like(place)])
    place = np.take_along_axis(ends, np.argmin([signed(one) for one in ends], axis=0)[None], axis=0)[0]
    return _assess(hole, owner, *offsets(place), radius, holes.tolerance_m[hole], upright, pieces, confidence)


def _signed_distance(beside, beyond):
    """Distance from a cylinder that goes up for ever, given how far a point is beside its wall and beyond its end."""
    outside = np.hypot(np.maximum(beside, 0.0), np.maximum(beyond, 0.0))
    return outside + np.minimum(np.maximum(beside, beyond), 0.0)


def _assess(
    hole, item, lateral, beyond, radius, tolerance, upright, pieces: Pieces, confidence: Confidence
) -> Meetings:
    largest = pieces.largest_radius_m[item]
    beside = lateral - radius
    distance = _signed_distance(beside, beyond) - largest
    sigma_aside = np.hypot(pieces.sigma_xy_m[item], tolerance)
    sigma_deep = np.hypot(pieces.sigma_depth_m[item], confidence.depth_tolerance_m)
    # How much of the distance lies aside and how much beyond the hole's end.
    share_aside, share_beyond = np.maximum(beside, 0.0), np.maximum(beyond, 0.0)
    total = np.hypot(share_aside, share_beyond)
    inside = total == 0
    share_aside = np.where(inside, beside >= beyond, share_aside / np.where(inside, 1.0, total))
    share_beyond = np.where(inside, beside < beyond, share_beyond / np.where(inside, 1.0, total))
    sigma = np.hypot(share_aside * sigma_aside, share_beyond * sigma_deep)
    slack = distance - confidence.needed_m(pieces.keep_out_m[item], sigma)
    # The top, the only part that is measured, lies a radius above the middle.
    top_beyond = beyond - largest * upright
    touch = _touch_probability(
        lateral, top_beyond, radius, sigma_aside, sigma_deep, pieces.smallest_radius_m[item], largest
    )
    # Of the pieces of one item the one that leaves the least counts.
    order = np.lexsort((slack, item, hole))
    is_first = np.ones(len(order), bool)
    is_first[1:] = (np.diff(hole[order]) != 0) | (np.diff(item[order]) != 0)
    kept = order[is_first]
    if len(order):
        touch = np.maximum.reduceat(touch[order], np.flatnonzero(is_first))
    return Meetings(hole[kept], item[kept], distance[kept], sigma[kept], slack[kept], touch)


def _touch_probability(lateral, top_beyond, radius, sigma_aside, sigma_deep, smallest, largest):
    """That the axes come closer than both radii and the top lies above the hole's end, both normally distributed."""
    from scipy.special import ndtr

    sigma_aside, sigma_deep = np.maximum(sigma_aside, 1e-9), np.maximum(sigma_deep, 1e-9)
    within = np.zeros_like(lateral)
    for part in SIZE_PARTS:
        reach = radius + smallest + part * (largest - smallest)
        within += ndtr((reach - lateral) / sigma_aside) - ndtr((-reach - lateral) / sigma_aside)
    return within / len(SIZE_PARTS) * ndtr(-top_beyond / sigma_deep)


def _near_pairs(holes: Penetrations, pieces: Pieces, search_m: np.ndarray) -> Tuple[np.ndarray, np.ndarray]:
    """Indices of holes and pieces that may be within `search_m` (of each hole) of one another in plan."""
    from scipy.spatial import cKDTree

    if not len(holes) or not len(pieces.owner):
        return np.zeros(0, int), np.zeros(0, int)
    middles = (pieces.start_m + pieces.end_m)[:, :2] / 2
    half = np.max(np.hypot(*(pieces.end_m - pieces.start_m)[:, :2].T)) / 2
    run = holes.depth_m * np.sin(holes.tilt_rad)
    centres = holes.entry_m + 0.5 * holes.depth_m[:, None] * holes.axis[:, :2]
    reach = search_m + holes.diameter_m / 2 + run / 2 + half + np.max(pieces.largest_radius_m)
    found: List[Sequence[int]] = cKDTree(middles).query_ball_point(centres, reach, return_sorted=True)
    counts = np.array([len(one) for one in found])
    piece = np.concatenate([np.asarray(one, int) for one in found]) if counts.sum() else np.zeros(0, int)
    return np.repeat(np.arange(len(holes)), counts), piece
