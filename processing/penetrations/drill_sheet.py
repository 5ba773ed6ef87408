"""What a drill sheet says of one penetration: offsets from grid axes, how deep it is clear, what is nearest."""

from dataclasses import dataclass, field, replace
from typing import List, Mapping, Optional, Sequence

import numpy as np

from ..common.language import tr
from ..common.vocabulary.kinds import kind_name
from ..common.vocabulary.verdicts import CLEAR
from ..floor.unknown_ground import KnownGround
from .check import check_penetrations
from .clearance import Pieces, find_meetings
from .model import Confidence, KindRule, Penetrations

# Two axes locate a point where they cross at no less than this.
CROSSING = np.cos(np.radians(30.0))
DEPTH_STEP_M = 0.005
NEAREST = 3


@dataclass(frozen=True)
class GridAxis:
    """One axis of the building: its name and two points on it, site x, y, metres."""

    name: str
    start_m: np.ndarray = field(compare=False)
    end_m: np.ndarray = field(compare=False)

    @property
    def along(self) -> np.ndarray:
        way = np.asarray(self.end_m, float) - self.start_m
        return way / np.hypot(*way)


@dataclass(frozen=True)
class AxisOffset:
    """Square distance of a point from an axis, metres, and the side of the axis on which it lies (+x, -x, +y or -y)."""

    name: str
    offset_m: float
    side: str

    def __str__(self) -> str:
        return tr(
            "{offset_m:.3f} m from axis {name}, on its {side} side",
            offset_m=self.offset_m,
            name=self.name,
            side=self.side,
        )


def axis_offsets(point_m, axes: Sequence[GridAxis]) -> List[AxisOffset]:
    """The nearest axis, and the nearest one that crosses it; fewer where there are none.

    An axis counts as endless, since people measure from it beyond where it is drawn.
    """
    point = np.asarray(point_m, float)
    squares = []  # distance, axis, vector from the axis to the point
    for axis in axes:
        away = point - axis.start_m
        away = away - (away @ axis.along) * axis.along
        squares.append((float(np.hypot(*away)), axis, away))
    squares.sort(key=lambda one: (one[0], one[1].name))
    chosen = squares[:1]
    chosen += [one for one in squares[1:] if abs(one[1].along @ chosen[0][1].along) < CROSSING][:1]
    return [AxisOffset(axis.name, distance, _side(axis, away)) for distance, axis, away in chosen]


def _side(axis: GridAxis, away: np.ndarray) -> str:
    """Named after the site axis that is more nearly square to the line, also for a point on it."""
    number = 0 if abs(axis.along[0]) < abs(axis.along[1]) else 1
    return ("+" if away[number] >= 0 else "-") + "xy"[number]


@dataclass(frozen=True)
class NearItem:
    """An item near a hole: distance between the surfaces (largest assumed size) and 1-sigma, depth of its top, metres."""

    item_id: str
    kind: str
    distance_m: float
    sigma_m: float
    top_m: float

    def __str__(self) -> str:
        return tr(
            "{kind} {item_id}: {distance:.0f} ± {sigma:.0f} mm away, top {top:.0f} mm deep",
            kind=kind_name(self.kind),
            item_id=self.item_id,
            distance=1000 * self.distance_m,
            sigma=1000 * self.sigma_m,
            top=1000 * self.top_m,
        )


def nearest_items(hole: Penetrations, pieces: Pieces, confidence: Confidence) -> List[NearItem]:
    """The items nearest to the one hole in `hole`, nearest first."""
    found = find_meetings(hole, pieces, confidence)
    near = []
    for k in np.argsort(found.distance_m, kind="stable")[:NEAREST]:
        obstacle = pieces.obstacles[found.item[k]]
        own = np.flatnonzero(pieces.owner == found.item[k])
        middle = (pieces.start_m[own] + pieces.end_m[own]) / 2
        top = middle[np.argmin(np.hypot(*(middle[:, :2] - hole.entry_m[0]).T)), 2]
        near.append(
            NearItem(obstacle.item_id, obstacle.kind, float(found.distance_m[k]), float(found.sigma_m[k]), float(top))
        )
    return near


def deepest_clear_m(
    hole: Penetrations,
    pieces: Pieces,
    ground: KnownGround,
    rules: Mapping[str, KindRule],
    confidence: Confidence,
) -> float:
    """Depth (along the axis) to which the hole is clear at this place, at most as planned, metres; 0 where it is not at all.

    In steps of 5 mm from the surface.
    """
    planned = float(hole.depth_m[0])
    depths = np.unique(np.append(np.arange(DEPTH_STEP_M, planned, DEPTH_STEP_M), planned))
    deeper = replace(hole.subset(np.zeros(len(depths), int)), depth_m=depths)
    verdicts = check_penetrations(deeper, pieces, ground, rules, confidence)
    clear = np.array([one.verdict == CLEAR for one in verdicts])
    count = len(clear) if clear.all() else int(np.argmin(clear))
    return float(depths[count - 1]) if count else 0.0


@dataclass(frozen=True)
class SheetEntry:
    """All that the sheet of one hole says besides its verdict."""

    offsets: Sequence[AxisOffset]
    clear_to_m: float
    thickness_m: Optional[float]
    near: Sequence[NearItem]


def sheet_entry(
    hole: Penetrations,
    pieces: Pieces,
    ground: KnownGround,
    rules: Mapping[str, KindRule],
    confidence: Confidence,
    axes: Sequence[GridAxis],
) -> SheetEntry:
    """The entry for the one hole in `hole`."""
    thickness = float(ground.base(hole.entry_m)[0][0])
    return SheetEntry(
        axis_offsets(hole.entry_m[0], axes),
        deepest_clear_m(hole, pieces, ground, rules, confidence),
        thickness if np.isfinite(thickness) else None,
        nearest_items(hole, pieces, confidence),
    )
