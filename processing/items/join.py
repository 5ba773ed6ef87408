"""One real object, one item: items of overlapping or abutting areas that are the same object become one polyline.

All work is in the site grid. Two items belong together when they run the same way, meet or overlap, and agree across and in depth
within their uncertainties; each item finds at most one partner in each other area.
"""

from dataclasses import dataclass, field, replace
from typing import Dict, List, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import KINDS, PLASTIC_CONDUIT, TENDON
from ..geometry.boxes import boxes_of, near_pairs
from .model import Item

SAME_DIRECTION_RAD = np.radians(4.0)
# Beyond these an agreement is no longer accepted however large the stated sigmas are, and below the smaller ones it always is.
LATERAL_M, LATERAL_SIGMAS = 0.012, 3.0
DEPTH_M, DEPTH_SIGMAS = 0.012, 2.1
WIDEST_M = 0.040
# Areas that abut leave a strip at their edges where an item's end is not seen.
LARGEST_GAP_M = 0.12
VERTEX_STEP_M = 0.05
# Shorter stretches side by side are too little to speak of a disagreement.
LONG_ENOUGH_M = 0.1


@dataclass(frozen=True)
class Comparison:
    """Two items side by side: offset across and in depth (metres, second minus first) where they meet, and their sigmas."""

    lateral_m: float
    depth_m: float
    sigma_lateral_m: float
    sigma_depth_m: float
    overlap_m: float

    @property
    def agrees(self) -> bool:
        lateral = max(LATERAL_SIGMAS * self.sigma_lateral_m, LATERAL_M)
        depth = max(DEPTH_SIGMAS * self.sigma_depth_m, DEPTH_M)
        return abs(self.lateral_m) < min(lateral, WIDEST_M) and abs(self.depth_m) < min(depth, WIDEST_M)

    @property
    def cost(self) -> float:
        return float(np.hypot(self.lateral_m / self.sigma_lateral_m, self.depth_m / self.sigma_depth_m))


@dataclass(frozen=True)
class Disagreement:
    """Two items side by side that would be one object but for their offset (metres) beyond both uncertainties."""

    item_ids: Tuple[str, str]
    lateral_m: float
    depth_m: float

    def sentence(self, item_id: str) -> str:
        """What to say at the item `item_id` about the other one."""
        other = next(one for one in self.item_ids if one != item_id)
        return tr(
            "Item {other} beside it differs by {lateral:.0f} mm across and {depth:.0f} mm in depth, more "
            "than both uncertainties allow: check on site.",
            other=other,
            lateral=1000 * abs(self.lateral_m),
            depth=1000 * abs(self.depth_m),
        )


@dataclass(frozen=True)
class Joined:
    """What joining gave: the items in order of their ids, of which each earlier id became part, and what disagrees."""

    items: List[Item]
    joined_as: Dict[str, str] = field(default_factory=dict)
    disagreements: List[Disagreement] = field(default_factory=list)


def join_items(items: Sequence[Item], monitor: Monitor = Monitor()) -> Joined:
    """Joins the items that are the same object.

    A joined item keeps the smallest of the ids, lists all areas, and its kind comes from the product of the parts'
    probabilities. Parts that run side by side but disagree beyond their sigmas are not joined, but told.
    """
    ordered = sorted(items, key=lambda item: item.item_id)
    links: List[Tuple[float, int, int, Comparison]] = []
    for i, j in near_pairs(boxes_of(item.vertices_m for item in ordered), LARGEST_GAP_M + WIDEST_M):
        monitor.step(0.8 * i / len(ordered))
        if not set(ordered[i].area_ids) & set(ordered[j].area_ids):
            comparison = compare(ordered[i], ordered[j])
            if comparison is not None:
                links.append((comparison.cost, i, j, comparison))
    groups = {i: [i] for i in range(len(ordered))}
    apart: List[Tuple[int, int, Comparison]] = []
    group_of = list(range(len(ordered)))
    for _, i, j, comparison in sorted(links, key=lambda link: link[:3]):
        one, other = groups[group_of[i]], groups[group_of[j]]
        if one is other or _share_an_area(ordered, one, other):
            continue
        if comparison.agrees:
            one.extend(other)
            del groups[group_of[j]]
            for member in other:
                group_of[member] = group_of[i]
        elif comparison.overlap_m > LONG_ENOUGH_M:
            apart.append((i, j, comparison))
    names = {member: ordered[min(members)].item_id for members in groups.values() for member in members}
    found_apart: Dict[Tuple[str, str], Disagreement] = {}
    for i, j, comparison in apart:
        pair = names[i], names[j]
        if pair[0] != pair[1]:
            found_apart.setdefault(pair, Disagreement(pair, comparison.lateral_m, comparison.depth_m))
    out = [merge([ordered[m] for m in sorted(members)]) for members in groups.values()]
    return Joined(
        sorted(out, key=lambda item: item.item_id),
        {item.item_id: names[number] for number, item in enumerate(ordered)},
        list(found_apart.values()),
    )


def flagged(items: Sequence[Item], disagreements: Sequence[Disagreement]) -> List[Item]:
    """The items, those of a disagreement with what it says in their `flag`."""
    out = []
    for item in items:
        notes = [found.sentence(item.item_id) for found in disagreements if item.item_id in found.item_ids]
        out.append(replace(item, flag=" ".join(notes)) if notes else item)
    return out


def _share_an_area(items: Sequence[Item], one: Sequence[int], other: Sequence[int]) -> bool:
    areas = {area for i in one for area in items[i].area_ids}
    return any(area in areas for j in other for area in items[j].area_ids)


def compare(first: Item, second: Item) -> Optional[Comparison]:
    """How two items lie to each other, or None where they run differently or do not meet."""
    axis = _direction(first.vertices_m)
    other = _direction(second.vertices_m)
    if abs(axis @ other) < np.cos(SAME_DIRECTION_RAD):
        return None
    origin = first.vertices_m[0, :2]
    (s1, t1), (s2, t2) = (_along_across(item.vertices_m, origin, axis) for item in (first, second))
    low, high = max(s1.min(), s2.min()), min(s1.max(), s2.max())
    if high - low < -LARGEST_GAP_M:
        return None
    where = np.linspace(low, high, 5) if high > low else np.array([0.5 * (low + high)])
    lateral = np.median(_at(where, s2, t2) - _at(where, s1, t1))
    depth = np.median(_at(where, s2, second.vertices_m[:, 2]) - _at(where, s1, first.vertices_m[:, 2]))
    if abs(lateral) > WIDEST_M or abs(depth) > WIDEST_M:
        return None
    return Comparison(
        float(lateral),
        float(depth),
        float(np.hypot(first.sigma_xy_m, second.sigma_xy_m)),
        float(np.hypot(first.sigma_depth_m, second.sigma_depth_m)),
        float(high - low),
    )


def _direction(vertices: np.ndarray) -> np.ndarray:
    d = vertices[-1, :2] - vertices[0, :2]
    return d / np.hypot(*d)


def _along_across(vertices, origin, axis):
    d = vertices[:, :2] - origin
    return d @ axis, d @ np.array([-axis[1], axis[0]])


def _at(where, s, values):
    """Linear interpolation, continued straight beyond the ends."""
    order = np.argsort(s)
    s, values = s[order], values[order]
    out = np.interp(where, s, values)
    for beyond, a, b in ((where < s[0], 0, 1), (where > s[-1], -1, -2)):
        slope = (values[a] - values[b]) / (s[a] - s[b])
        out = np.where(beyond, values[a] + slope * (where - s[a]), out)
    return out


def merge(parts: Sequence[Item]) -> Item:
    """One item from parts of the same object; each part counts by its inverse variance, less towards its own ends."""
    if len(parts) == 1:
        return parts[0]
    longest = max(parts, key=lambda item: np.hypot(*(item.vertices_m[-1, :2] - item.vertices_m[0, :2])))
    axis, origin = _direction(longest.vertices_m), longest.vertices_m[0, :2]
    courses = [(*_along_across(item.vertices_m, origin, axis), item.vertices_m[:, 2]) for item in parts]
    low, high = min(s.min() for s, _, _ in courses), max(s.max() for s, _, _ in courses)
    stations = np.linspace(low, high, max(int(round((high - low) / VERTEX_STEP_M)), 1) + 1)
    values, weights = np.zeros((2, len(stations))), np.zeros((2, len(stations)))
    for item, (s, t, z) in zip(parts, courses):
        from_end = np.minimum(stations - s.min(), s.max() - stations)
        # A tiny weight outside keeps a gap between two parts bridged by the straight continuation of both.
        outside = 1e-6 * np.exp(np.clip(from_end, -1, 0) / 0.05)
        taper = np.where(from_end >= 0, 0.1 + np.clip(from_end / 0.15, 0, 1), outside)
        for row, (course, sigma) in enumerate(((t, item.sigma_xy_m), (z, item.sigma_depth_m))):
            values[row] += taper / sigma**2 * _at(stations, s, course)
            weights[row] += taper / sigma**2
    across, depth = values / weights
    xy = origin + stations[:, None] * axis + across[:, None] * np.array([-axis[1], axis[0]])
    # A tendon lies flat between its bends: a part of metal that shows no drape says nothing against one that does.
    draped = [item for item in parts if item.kind == TENDON]
    telling = draped if draped and all(item.kind != PLASTIC_CONDUIT for item in parts) else parts
    product = np.array([np.prod([item.kind_probabilities[kind] for item in telling]) for kind in KINDS])
    product = product / product.sum() if product.sum() > 0 else np.full(len(KINDS), 1 / len(KINDS))
    first = parts[0]
    areas = tuple(sorted({area for item in parts for area in item.area_ids}))
    strongest = max(telling, key=lambda item: item.confidence)
    return replace(
        first,
        area_ids=areas,
        vertices_m=np.column_stack([xy, depth]),
        kind_probabilities=dict(zip(KINDS, product.round(4).tolist())),
        confidence=float(1 - np.prod([1 - item.confidence for item in parts])),
        sigma_xy_m=float(np.sqrt(np.mean([item.sigma_xy_m**2 for item in parts]))),
        sigma_depth_m=float(np.sqrt(np.mean([item.sigma_depth_m**2 for item in parts]))),
        pick_count=sum(item.pick_count for item in parts),
        reasons=tr("{reasons} Seen in areas {areas}.", reasons=strongest.reasons, areas=", ".join(areas)),
    )
