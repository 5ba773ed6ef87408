"""One real object, one item: items of overlapping or abutting areas that are the same object become one polyline.

All work is in the site grid. Whether two items are one object is decided in `same_object`, what becomes of them in `combining`;
each item finds at most one partner in each other area.
"""

from dataclasses import dataclass, field, replace
from typing import Dict, List, Sequence, Tuple

from ..common.monitor import Monitor
from ..geometry.boxes import boxes_of, near_pairs
from .combining import combine
from .model import Item
from .same_object import LARGEST_GAP_M, WIDEST_M, Comparison, Disagreement, compare


@dataclass(frozen=True)
class Joined:
    """What joining gave: the items in order of their ids, of which each earlier id became part, and what disagrees."""

    items: List[Item]
    joined_as: Dict[str, str] = field(default_factory=dict)
    disagreements: List[Disagreement] = field(default_factory=list)


def join_items(items: Sequence[Item], monitor: Monitor = Monitor()) -> Joined:
    """Joins the items that are the same object.

    A joined item keeps the smallest of the ids and lists all areas. Parts that run side by side but disagree beyond their sigmas
    are not joined, but told.
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
        elif comparison.is_long:
            apart.append((i, j, comparison))
    names = {member: ordered[min(members)].item_id for members in groups.values() for member in members}
    found_apart: Dict[Tuple[str, str], Disagreement] = {}
    for i, j, comparison in apart:
        pair = names[i], names[j]
        if pair[0] != pair[1]:
            found_apart.setdefault(pair, Disagreement(pair, comparison.lateral_m, comparison.depth_m))
    out = [combine([ordered[m] for m in sorted(members)]) for members in groups.values()]
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
