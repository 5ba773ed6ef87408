"""Ground that was scanned and still is unknown: below dense mats, and where a regular mat lacks a bar.

A bar that detection missed leaves a gap of two or more spacings in an otherwise even mat. Whether the bar was left out or
overlooked cannot be told from the items, so the place where it would lie is unknown.
"""

from dataclasses import dataclass, field
from typing import List, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.kinds import BAR, UNKNOWN_KIND
from ..geometry.mat import (
    DENSE_WAVELENGTHS,
    FARTHEST_M,
    HIDING_LAYER_WAVELENGTHS,
    LAP_M,
    MOST_DEPTH_M,
    ONE_DIRECTION_RAD,
    SIDE_BY_SIDE_RAD,
    layer_m,
)

# What may be bars of a mat: an item whose kind could not be told counts as one, on the side of unknown ground.
BARS = (BAR, UNKNOWN_KIND)
# A mat is even where, this far around, so many spacings scatter by no more than this part of their median.
AROUND_M, FEWEST_SPACINGS, EVEN = 1.0, 4, 0.20
# A gap is one of missing bars where it is a whole number of spacings, two or more, within this part of a spacing.
WHOLE = 0.25
# A missing bar lies within this part of a spacing of its even place.
PLACE = 0.15
# It may lie this much shallower than its neighbours, metres.
SHALLOWER_M = 0.010


@dataclass(frozen=True)
class StraightPieces:
    """Items of one level and surface cut into short straight pieces.

    `obstacles` : the items, with `item_id` and `kind`. `start_m`, `end_m` : ndarray, shape (piece, 3), x, y, depth to the top,
    metres. `owner` : index of the piece's item. `sigma_depth_m` : 1-sigma of each item's depth, metres.
    """

    obstacles: Tuple
    start_m: np.ndarray
    end_m: np.ndarray
    owner: np.ndarray
    sigma_depth_m: np.ndarray


@dataclass(frozen=True)
class HiddenStrip:
    """Ground that is unknown below `depth_m` (metres): a closed quadrangle in plan, and the reason as a part of a sentence."""

    corners_m: np.ndarray = field(compare=False)
    depth_m: float
    reason: str


@dataclass(frozen=True)
class _Pairs:
    """Parallel pieces `a`, `b` of two items of one layer that run side by side, one entry a pair and direction of looking.

    `near`, `far` : ndarray, shape (pair, 2, 2), the ends of the stretch on `a` and beside it on `b`, x and y.
    `aside` : distance between them, metres, positive to the left of `a`.
    """

    a: np.ndarray
    b: np.ndarray
    near: np.ndarray
    far: np.ndarray
    aside: np.ndarray

    def only(self, which) -> "_Pairs":
        return _Pairs(self.a[which], self.b[which], self.near[which], self.far[which], self.aside[which])


def find_hidden(
    pieces: StraightPieces, largest_radius_m: np.ndarray, keep_out_m: np.ndarray, wavelength_m: float
) -> List[HiddenStrip]:
    """All strips of hidden ground among the items of one level and surface.

    Parameters
    ----------
    largest_radius_m, keep_out_m : ndarray, shape (item,)
        What is assumed of each item: its size, and the distance to keep from it, metres. A bar that may have been missed takes
        those of its neighbours.
    wavelength_m : float
        The longest one in the concrete, metres.
    """
    pairs = _side_by_side(pieces, FARTHEST_M, wavelength_m)
    missing = _missing(pieces, pairs, largest_radius_m, keep_out_m)
    return [*_dense(pieces, pairs, wavelength_m), *missing]


def _directions(pieces: StraightPieces) -> Tuple[np.ndarray, np.ndarray]:
    way = (pieces.end_m - pieces.start_m)[:, :2]
    length = np.hypot(*way.T)
    return way / np.maximum(length, 1e-12)[:, None], length


def _feature_space(pieces: StraightPieces, reach_m: float, deep_m: float, turned_rad: float) -> np.ndarray:
    """Places in plan, in depth and in direction (as a double angle, so that forth and back are one), scaled to one reach."""
    along, _ = _directions(pieces)
    middle = (pieces.start_m + pieces.end_m) / 2
    turned = np.column_stack([along[:, 0] ** 2 - along[:, 1] ** 2, 2 * along[:, 0] * along[:, 1]])
    scaled = turned * reach_m / (2 * np.sin(turned_rad))
    return np.column_stack([middle[:, :2], middle[:, 2] * reach_m / deep_m, scaled])


def _side_by_side(pieces: StraightPieces, farthest_m: float, wavelength_m: float) -> _Pairs:
    from scipy.spatial import cKDTree

    if not len(pieces.owner):
        return _Pairs(np.zeros(0, int), np.zeros(0, int), np.zeros((0, 2, 2)), np.zeros((0, 2, 2)), np.zeros(0))
    along, length = _directions(pieces)
    middle = (pieces.start_m + pieces.end_m) / 2
    reach = farthest_m + float(length.max())
    layer = max(HIDING_LAYER_WAVELENGTHS * wavelength_m, MOST_DEPTH_M)
    pairs = cKDTree(_feature_space(pieces, reach, layer, SIDE_BY_SIDE_RAD)).query_pairs(
        reach, p=np.inf, output_type="ndarray"
    )
    a, b = pairs.T
    to_other = middle[b] - middle[a]
    fits = (pieces.owner[a] != pieces.owner[b]) & (np.abs(to_other[:, 2]) < layer)
    fits &= np.abs(np.sum(along[a] * along[b], axis=1)) > np.cos(SIDE_BY_SIDE_RAD)
    fits &= (
        np.abs(np.sum(along[a] * to_other[:, :2], axis=1))
        <= (length[a] + length[b]) / 2 + np.sin(SIDE_BY_SIDE_RAD) * farthest_m
    )
    a, b = np.concatenate([pairs[fits], pairs[fits][:, ::-1]]).T
    start, end = pieces.start_m[:, :2], pieces.end_m[:, :2]
    one, other = (np.sum((place[b] - start[a]) * along[a], axis=1) for place in (start, end))
    low, high = np.maximum(np.minimum(one, other), 0.0), np.minimum(np.maximum(one, other), length[a])
    run = np.where(np.abs(other - one) < 1e-9, 1.0, other - one)
    near = np.stack([start[a] + limit[:, None] * along[a] for limit in (low, high)], axis=1)
    far = np.stack([start[b] + ((limit - one) / run)[:, None] * (end - start)[b] for limit in (low, high)], axis=1)
    to_far = np.mean(far - near, axis=1)
    aside = along[a, 0] * to_far[:, 1] - along[a, 1] * to_far[:, 0]
    found = _Pairs(a, b, near, far, aside)
    return found.only((high - low > 1e-6) & (np.abs(aside) <= farthest_m))


def _dense(pieces: StraightPieces, pairs: _Pairs, wavelength_m: float) -> List[HiddenStrip]:
    """Strips between items less than about a wavelength apart: unknown below the deeper one."""
    tops = (pieces.start_m[:, 2] + pieces.end_m[:, 2]) / 2
    one_layer = np.abs(tops[pairs.a] - tops[pairs.b]) < HIDING_LAYER_WAVELENGTHS * wavelength_m
    close = pairs.only(one_layer & (np.abs(pairs.aside) < DENSE_WAVELENGTHS * wavelength_m) & (pairs.a < pairs.b))
    strips = []
    for a, b, near, far in zip(close.a, close.b, close.near, close.far):
        names = tr(" and ").join(pieces.obstacles[pieces.owner[k]].item_id for k in (a, b))
        reason = tr("it goes below a dense mat ({names} are too close together to see through)", names=names)
        corners = np.vstack([near, far[::-1], near[:1]])
        strips.append(HiddenStrip(corners, float(max(tops[a], tops[b])), reason))
    return strips


def _missing(pieces: StraightPieces, pairs: _Pairs, largest_radius_m, keep_out_m) -> List[HiddenStrip]:
    """Strips about the places where an even mat lacks a bar."""
    is_bar = np.array([one.kind in BARS for one in pieces.obstacles], bool)
    bars = pairs.only(is_bar[pieces.owner[pairs.a]] & is_bar[pieces.owner[pairs.b]] & _of_one_mat(pieces, pairs))
    if not len(bars.a):
        return []
    neighbours = bars.only(_nearest_on_its_side(bars, len(pieces.owner)))
    spacing = _usual_spacing(pieces, neighbours)
    tops = (pieces.start_m[:, 2] + pieces.end_m[:, 2]) / 2
    strips = []
    even = np.isfinite(spacing)
    spacing = np.where(even, spacing, 1.0)
    count = np.rint(np.abs(neighbours.aside) / spacing)
    whole = even & (np.abs(np.abs(neighbours.aside) - count * spacing) <= WHOLE * spacing)
    for k in np.flatnonzero((count >= 2) & whole & (neighbours.a < neighbours.b)):
        a, b = neighbours.a[k], neighbours.b[k]
        both = pieces.owner[[a, b]]  # what is missing may be what either of them is
        half = PLACE * spacing[k] + np.max(largest_radius_m[both] + keep_out_m[both])
        names = tr(" and ").join(pieces.obstacles[pieces.owner[one]].item_id for one in (a, b))
        reason = tr(
            "a bar may have been missed there: {names} are {aside:.0f} mm apart in a mat with a spacing of "
            "{spacing:.0f} mm",
            names=names,
            aside=1000 * abs(neighbours.aside[k]),
            spacing=1000 * spacing[k],
        )
        depth = float(min(tops[a], tops[b]) - np.max(keep_out_m[both]) - SHALLOWER_M)
        across = neighbours.far[k] - neighbours.near[k]
        unit = across / np.hypot(*across.T)[:, None]
        for part in range(1, int(count[k])):
            line = neighbours.near[k] + part / count[k] * across
            left, right = line - half * unit, line + half * unit
            strips.append(HiddenStrip(np.vstack([left, right[::-1], left[:1]]), depth, reason))
    return strips


def _of_one_mat(pieces: StraightPieces, pairs: _Pairs) -> np.ndarray:
    """Which pairs can be neighbours of one mat, as the mats that are reported are: one direction, one layer, and no lap."""
    along, _ = _directions(pieces)
    tops, sigma = (pieces.start_m[:, 2] + pieces.end_m[:, 2]) / 2, pieces.sigma_depth_m[pieces.owner]
    one_way = np.abs(np.sum(along[pairs.a] * along[pairs.b], axis=1)) > np.cos(ONE_DIRECTION_RAD)
    one_layer = np.abs(tops[pairs.a] - tops[pairs.b]) <= layer_m(np.hypot(sigma[pairs.a], sigma[pairs.b]))
    return one_way & one_layer & (np.abs(pairs.aside) >= LAP_M)


def _nearest_on_its_side(pairs: _Pairs, pieces: int) -> np.ndarray:
    """Which pairs are those of nearest neighbours to the left or to the right of a piece; laps count as one place."""
    side = 2 * pairs.a + (pairs.aside > 0)
    nearest = np.full(2 * pieces, np.inf)
    np.minimum.at(nearest, side, np.abs(pairs.aside))
    return np.abs(pairs.aside) <= nearest[side] + LAP_M


def _usual_spacing(pieces: StraightPieces, neighbours: _Pairs) -> np.ndarray:
    """Median spacing of the mat around each pair, metres; infinite where there is no even mat.

    It is looked up once for all pairs of a cell of a quarter of `AROUND_M` (in plan, depth and direction).
    """
    from scipy.spatial import cKDTree

    places = _feature_space(pieces, AROUND_M, MOST_DEPTH_M, ONE_DIRECTION_RAD)[neighbours.a]
    gaps = np.abs(neighbours.aside)
    cells = np.floor(places / (AROUND_M / 4)).astype(int)
    _, chosen, cell = np.unique(cells, axis=0, return_index=True, return_inverse=True)
    usual = np.full(len(chosen), np.inf)
    for k, around in enumerate(cKDTree(places).query_ball_point(places[chosen], AROUND_M, p=np.inf)):
        own = gaps[around]
        median = np.median(own)
        even = np.abs(own - median) <= EVEN * median
        # Every pair is seen from both sides. A gap of missing bars must not hide itself, so not all need be even.
        if even.sum() >= 2 * FEWEST_SPACINGS and even.mean() >= 0.5:
            usual[k] = median
    return usual[cell.ravel()]
