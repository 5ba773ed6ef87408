"""Where scan areas overlap: straight items seen in both, how far apart they come out, and what that says about the areas' places.

An item is taken from its picks alone, line by line, so that each area speaks for itself. Only the offset across an item is
observed; nothing marks a place along it.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Dict, Iterable, List, Mapping, Sequence, Tuple

import numpy as np

from ..items.model import Pick
from ..items.same_object import ACROSS, DISAGREEING_SIGMAS, SAME_DIRECTION_RAD, TO_BE_JUDGED, WIDEST_M
from ..site.frame import AreaFit
from ..site.observations import FROM_ITEMS, Tie
from ..survey.model import ScanArea
from .placing import group_by_plane

FEWEST_LINES = 3
LARGEST_BEND_M = 0.008  # scatter of picks about a straight line; more is a bent item, which does not tie
# Bars are tied on site, not machined: how far from straight over the length of an area (common practice, no source).
STRAIGHTNESS_M = 0.002
# Seams of one direction share the errors of the lines that cross them; bars of a mat differ by a degree or two, mats by far more.
ONE_FAMILY = np.cos(np.radians(10.0))
# Both areas must see the item here: a gap is bridged for joining, not for an observation.
SHORTEST_OVERLAP_M = 0.03
# Offsets of one family that differ by less than this always agree: two of its bars' straightness and sightings, metres.
LEAST_M = 0.006
# The second-best partner must be this many times as far as the best.
CLEARLY_FURTHER = 2.0


@dataclass(frozen=True)
class Piece:
    """One straight item as one area sees it, in the area's local grid (metres).

    `sigma_m` is the 1-sigma of its place across itself, `depth` the depth at the centre and its slope along the item.
    """

    item_id: str
    area_id: str
    centre_m: np.ndarray = field(compare=False)
    direction: np.ndarray = field(compare=False)
    reach_m: Tuple[float, float]
    sigma_m: float
    depth: Tuple[float, float]
    sigma_depth_m: float

    def at(self, along_m: float) -> np.ndarray:
        return self.centre_m + along_m * self.direction


@dataclass(frozen=True)
class Seam:
    """One item seen in two areas that overlap (site grid, metres).

    Attributes
    ----------
    lateral_m, depth_m : float
        Second area's item minus the first one's, across the item (to the left of `stretch_m`) and in depth.
    sigma_lateral_m, sigma_depth_m : float
        Expected 1-sigma of these: both items', and of the lateral one also that of both areas' places.
    stretch_m : (2, 2) ndarray
        Start and end of the part that both areas see, in the middle between the two.
    """

    pieces: Tuple[Piece, Piece]
    lateral_m: float
    depth_m: float
    sigma_lateral_m: float
    sigma_depth_m: float
    stretch_m: np.ndarray = field(compare=False)
    local_m: Tuple[np.ndarray, np.ndarray] = field(compare=False)

    @property
    def area_ids(self) -> Tuple[str, str]:
        return self.pieces[0].area_id, self.pieces[1].area_id

    @property
    def lateral_ratio(self) -> float:
        """Offset across over its expected sigma."""
        return abs(self.lateral_m) / self.sigma_lateral_m

    @property
    def depth_ratio(self) -> float:
        """Offset in depth over its expected sigma."""
        return abs(self.depth_m) / self.sigma_depth_m

    @property
    def agrees(self) -> bool:
        """Are both offsets within 2.58 of their sigmas (99 %)?"""
        return max(self.lateral_ratio, self.depth_ratio) <= DISAGREEING_SIGMAS

    @property
    def direction(self) -> np.ndarray:
        along = self.stretch_m[1] - self.stretch_m[0]
        return along / np.hypot(*along)


def straight_pieces(picks: Iterable[Pick]) -> List[Piece]:
    """The items that at least three lines of one area see on a straight course."""
    groups: Dict[Tuple[str, str], List[Pick]] = defaultdict(list)
    for pick in picks:
        groups[pick.area_id, pick.item_id].append(pick)
    pieces = []
    for (area_id, item_id), own in groups.items():
        lines = len({pick.line_id for pick in own})
        if lines < FEWEST_LINES:
            continue
        xy = np.array([(pick.x_m, pick.y_m) for pick in own])
        centre = xy.mean(axis=0)
        _, _, axes = np.linalg.svd(xy - centre)
        direction = axes[0]
        if direction[np.argmax(np.abs(direction))] < 0:
            direction = -direction
        along, across = (xy - centre) @ direction, (xy - centre) @ [-direction[1], direction[0]]
        scatter = float(np.sqrt(np.sum(across**2) / max(len(own) - 2, 1)))
        if scatter > LARGEST_BEND_M or np.ptp(along) < SHORTEST_OVERLAP_M:
            continue
        usual = float(np.median([pick.sigma_along_m for pick in own]))
        slope, depth = np.polyfit(along, [pick.depth_m for pick in own], 1)
        pieces.append(
            Piece(
                item_id,
                area_id,
                centre,
                direction,
                (float(along.min()), float(along.max())),
                float(np.hypot(max(scatter, usual) / np.sqrt(lines), STRAIGHTNESS_M)),
                (float(depth), float(slope)),
                float(np.median([pick.sigma_depth_m for pick in own])),
            )
        )
    return pieces


def find_seams(picks: Iterable[Pick], areas: Mapping[str, ScanArea], fits: Mapping[str, AreaFit]) -> List[Seam]:
    """Items seen in both of two overlapping areas of one plane, matched without doubt.

    A pair counts if each is the other's nearest, no second one is nearly as near, and its offset agrees with that of the other
    pairs of the same direction between the two areas.
    """
    by_area: Dict[str, List[Piece]] = defaultdict(list)
    for piece in straight_pieces(picks):
        if fits[piece.area_id].is_fitted:
            by_area[piece.area_id].append(piece)
    boxes = {area_id: _box(own, fits[area_id]) for area_id, own in by_area.items()}
    seams = []
    for plane in group_by_plane(areas.values()).values():
        ids = [area.area_id for area in plane if area.area_id in by_area]
        for number, one in enumerate(ids):
            for other in ids[number + 1 :]:
                if np.all(boxes[one][0] < boxes[other][1]) and np.all(boxes[other][0] < boxes[one][1]):
                    found = _match(by_area[one], by_area[other], fits[one], fits[other])
                    seams += [seam for family in _families(found) for seam in _agreeing(family)]
    return seams


def ties_of(seams: Sequence[Seam]) -> List[Tie]:
    """Ties across the items of `seams`.

    Parallel items of one area are crossed by the same lines and share the lines' errors, so that all pairs of one direction between
    two areas together count as one observation: each of n gets a sigma sqrt(n) times its own.
    """
    ties = []
    by_pair: Dict[Tuple[str, str], List[Seam]] = defaultdict(list)
    for seam in seams:
        by_pair[seam.area_ids].append(seam)
    for ids, own in by_pair.items():
        for family in _families(own):
            for seam in family:
                a, b = seam.pieces
                sigma = float(np.hypot(a.sigma_m, b.sigma_m) * np.sqrt(len(family)))
                name = a.item_id if a.item_id == b.item_id else f"{a.item_id} = {b.item_id}"
                direction = float(np.arctan2(a.direction[1], a.direction[0]))
                local = tuple((float(x), float(y)) for x, y in seam.local_m)
                ties.append(Tie(name, ids, local, sigma, direction, FROM_ITEMS))
    return ties


def _box(pieces: Sequence[Piece], fit: AreaFit):
    ends = fit.to_site([piece.at(reach) for piece in pieces for reach in piece.reach_m])
    return ends.min(axis=0) - WIDEST_M, ends.max(axis=0) + WIDEST_M


def _match(ours: Sequence[Piece], theirs: Sequence[Piece], our_fit: AreaFit, their_fit: AreaFit) -> List[Seam]:
    """Pairs of which each is the other's clearly nearest."""
    candidates = [(i, j, _compare(a, b, our_fit, their_fit)) for i, a in enumerate(ours) for j, b in enumerate(theirs)]
    candidates = [(i, j, seam) for i, j, seam in candidates if seam is not None]
    best = []
    for i, j, seam in candidates:
        rivals = [abs(o.lateral_m) for k, m, o in candidates if (k == i) != (m == j)]
        limit = ACROSS.limit_m(seam.sigma_lateral_m)
        if abs(seam.lateral_m) < limit and all(other > CLEARLY_FURTHER * abs(seam.lateral_m) for other in rivals):
            best.append(seam)
    return best


def _compare(a: Piece, b: Piece, fit_a: AreaFit, fit_b: AreaFit):
    """The seam of two pieces, or None where they run differently, do not overlap, or lie too far apart."""
    start, end = fit_a.to_site([a.at(reach) for reach in a.reach_m])
    length = np.hypot(*(end - start))
    along = (end - start) / length
    left = np.array([-along[1], along[0]])
    ends = fit_b.to_site([b.at(reach) for reach in b.reach_m])
    there = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    if abs(along @ there) < np.cos(SAME_DIRECTION_RAD):
        return None
    low, high = sorted((ends - start) @ along)
    low, high = max(low, 0.0), min(high, length)
    if high - low < SHORTEST_OVERLAP_M:
        return None
    middle = start + 0.5 * (low + high) * along
    share = (middle - ends[0]) @ along / ((ends[1] - ends[0]) @ along)
    other = ends[0] + share * (ends[1] - ends[0])
    lateral = float((other - middle) @ left)
    local_a, local_b = fit_a.to_local([middle])[0], fit_b.to_local([other])[0]
    depth_a, depth_b = (
        piece.depth[0] + piece.depth[1] * ((local - piece.centre_m) @ piece.direction)
        for piece, local in ((a, local_a), (b, local_b))
    )
    sigma_depth = float(np.hypot(a.sigma_depth_m, b.sigma_depth_m))
    depth = float(depth_b - depth_a)
    if abs(lateral) > 2 * WIDEST_M or abs(depth) > TO_BE_JUDGED.limit_m(sigma_depth):
        return None
    places = fit_a.covariance_at([local_a])[0] + fit_b.covariance_at([local_b])[0]
    sigma = float(np.sqrt(left @ places @ left + a.sigma_m**2 + b.sigma_m**2))
    shift = 0.5 * lateral * left
    stretch = np.array([start + low * along + shift, start + high * along + shift])
    return Seam((a, b), lateral, depth, sigma, sigma_depth, stretch, (local_a, local_b))


def _families(seams: Sequence[Seam]) -> List[List[Seam]]:
    """Seams of two areas by direction, forth and back being one."""
    families: List[List[Seam]] = []
    for seam in seams:
        home = next((f for f in families if abs(f[0].direction @ seam.direction) > ONE_FAMILY), None)
        if home is None:
            families.append([seam])
        else:
            home.append(seam)
    return families


def _agreeing(family: List[Seam]) -> List[Seam]:
    """Without those whose offset is not that of the others: the areas' places shift all of one direction alike."""
    signs = [1.0 if family[0].direction @ seam.direction > 0 else -1.0 for seam in family]
    offsets = np.array([sign * seam.lateral_m for sign, seam in zip(signs, family)])
    usual = np.median(offsets)
    own = [max(ACROSS.sigmas * np.hypot(*(piece.sigma_m for piece in seam.pieces)), LEAST_M) for seam in family]
    return [seam for seam, offset, limit in zip(family, offsets, own) if abs(offset - usual) < limit]
