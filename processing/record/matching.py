"""Which items of a survey are objects that the record knows, by the rules of `items.same_object`.

The kind does not decide: two things cannot be in one place, so that another kind at the same place is a contradiction to be told.
"""

from dataclasses import dataclass, field
from typing import Dict, List, Sequence, Tuple

import numpy as np

from ..common.monitor import Monitor
from ..common.vocabulary.kinds import KINDS
from ..geometry.boxes import boxes_of, near_one, near_pairs
from ..items.model import Item
from ..items.same_object import LARGEST_GAP_M, WIDEST_M, Disagreement, compare, likeness, side_by_side
from .schema import GEOMETRY
from .store import Row

REACH_M = LARGEST_GAP_M + WIDEST_M


@dataclass(frozen=True)
class Matches:
    """`same`: id of a found item to that of the known one; `united`: (stays, becomes part of it) of known ones that are one."""

    same: Dict[str, str] = field(default_factory=dict)
    united: List[Tuple[str, str]] = field(default_factory=list)


def item_of(row: Row) -> Item:
    """A row of `items` that has a place, as an item."""
    vertices = np.asarray(row[GEOMETRY], float) * [1.0, 1.0, -1.0]
    kinds = {kind: row[f"p_{kind}"] or 0.0 for kind in KINDS}
    areas = tuple((row["area_ids"] or "").split(","))
    sigma = row["sigma_xy_m"], row["sigma_depth_m"]
    return Item(row["item_id"], areas, vertices, kinds, row["confidence"] or 0.0, *sigma, row["pick_count"] or 0)


def match(known: Sequence[Item], found: Sequence[Item], monitor: Monitor = Monitor()) -> Matches:
    """Pairs the items of one plane; the nearest in units of their joint sigmas first.

    Several found items may be pieces of one known item, and one found item may show that several known ones are pieces of one
    object; pieces follow each other, they do not run side by side.
    """
    links: List[Tuple[float, str, str]] = []
    places = boxes_of(item.vertices_m for item in known)
    for number, (one, low, high) in enumerate(zip(found, *boxes_of(item.vertices_m for item in found))):
        monitor.step(number / len(found))
        for other in (known[near] for near in near_one(low, high, places, REACH_M)):
            cost = likeness(other, one)
            if cost is not None:
                links.append((cost, other.item_id, one.item_id))
    of_known = {item.item_id: item for item in known}
    of_found = {item.item_id: item for item in found}
    same: Dict[str, str] = {}
    pieces: Dict[str, List[str]] = {}
    stays: Dict[str, str] = {}
    for _, known_id, found_id in sorted(links):
        if found_id not in same:
            if not any(side_by_side(of_found[found_id], of_found[one]) for one in pieces.get(known_id, [])):
                same[found_id] = known_id
                pieces.setdefault(known_id, []).append(found_id)
            continue
        first, second = _last(stays, same[found_id]), _last(stays, known_id)
        if first == second:
            continue
        group = [one for one in of_known if _last(stays, one) == first]
        others = [one for one in of_known if _last(stays, one) == second]
        if any(side_by_side(of_known[a], of_known[b]) for a in group for b in others):
            continue
        keep, give = sorted((first, second), key=_number)
        stays[give] = keep
    return Matches({one: _last(stays, other) for one, other in same.items()}, sorted((b, a) for a, b in stays.items()))


def _last(stays: Dict[str, str], name: str) -> str:
    while name in stays:
        name = stays[name]
    return name


def _number(name: str) -> Tuple[int, str]:
    return len(name), name


def disagreements(seen: Sequence[Tuple[Item, frozenset]]) -> List[Disagreement]:
    """Pairs of items that would be one object but for an offset beyond both uncertainties.

    `seen`: items, each with the surveys that saw it; two that one survey saw both are two objects.
    """
    surveys = {item.item_id: ids for item, ids in seen}
    items = [item for item, _ in seen]
    found = []
    for i, j in near_pairs(boxes_of(item.vertices_m for item in items), REACH_M):
        one, other = items[i], items[j]
        if surveys[one.item_id] & surveys[other.item_id]:
            continue
        comparison = compare(one, other)
        if comparison is not None and not comparison.agrees and comparison.is_long:
            pair = one.item_id, other.item_id
            found.append(Disagreement(pair, comparison.lateral_m, comparison.depth_m))
    return found
