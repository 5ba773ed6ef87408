"""Moving planned holes, alone or as a rigid pattern, to the nearest places where all of them are clear."""

from dataclasses import dataclass, field
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.verdicts import CLEAR
from ..floor.unknown_ground import KnownGround
from ..geometry.polygons import distance_inside
from .check import Verdict, check_penetrations
from .clear_space import ClearSpace
from .clearance import Pieces
from .model import Confidence, KindRule, Penetrations

# Places are tried on this raster; the map's value between its points is taken as the lowest it can be there.
STEP_M = 0.002
# Alternatives that are nearer to one another than this, and turned by less than a step, are no choice.
APART_M = 0.02


@dataclass(frozen=True)
class PlacementRules:
    """What a pattern may do.

    Attributes
    ----------
    search_m : float
        Furthest shift in plan, metres.
    turn_rad, turn_step_rad : float
        Largest turn to either side about the pattern's centre, and its steps; 0: shift only.
    alternatives : int
        Number of places wanted.
    allowed_edges_m : ndarray, shape (edge, 2, 2), or None
        Edges of the polygons within which every hole must lie with its whole rim; None: anywhere.
    """

    search_m: float = 0.15
    turn_rad: float = 0.0
    turn_step_rad: float = np.radians(5.0)
    alternatives: int = 3
    allowed_edges_m: Optional[np.ndarray] = field(default=None, compare=False)

    def check(self) -> None:
        """Raises `ProcessingError` for numbers that make no search."""
        if not (0 <= self.search_m <= 2.0 and 0 <= self.turn_rad <= np.pi and self.turn_step_rad > 0):
            raise ProcessingError(
                tr("The search distance must be from 0 to 2 m, the rotation from 0 to 180 degrees in steps above 0.")
            )
        if self.alternatives < 1:
            raise ProcessingError(tr("At least one place must be requested."))


@dataclass(frozen=True)
class Place:
    """Where a pattern can stand: shift in plan (2,), metres, turn (anticlockwise), and the holes there with verdicts."""

    shift_m: np.ndarray = field(compare=False)
    turn_rad: float
    holes: Penetrations
    verdicts: Sequence[Verdict]

    @property
    def distance_m(self) -> float:
        return float(np.hypot(*self.shift_m))


def place_pattern(
    holes: Penetrations,
    pieces: Pieces,
    ground: KnownGround,
    rules: Mapping[str, KindRule],
    wanted: PlacementRules,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> List[Place]:
    """Places where all of `holes` (one rigid pattern, upright) are clear, nearest first; empty where there is none.

    Candidates come from the map of clear space and each one returned has passed `check_penetrations`. Raises
    `ProcessingError` for inclined holes.
    """
    wanted.check()
    if np.any(holes.tilt_rad > 0):
        raise ProcessingError(tr("Penetration {id} is inclined; only upright holes can be placed.", id=holes.ids[0]))
    centre = holes.entry_m.mean(axis=0)
    arms = holes.entry_m - centre
    turns = _turns(wanted, np.hypot(*arms.T).max())
    maps = _free_maps(holes, pieces, ground, rules, wanted, confidence, centre, monitor.part(0.0, 0.4))
    steps = int(round(wanted.search_m / STEP_M))
    offsets = np.arange(-steps, steps + 1) * STEP_M
    shift_x, shift_y = (axis.ravel() for axis in np.meshgrid(offsets, offsets))
    near = np.hypot(shift_x, shift_y) <= wanted.search_m + 1e-9
    shift_x, shift_y = shift_x[near], shift_y[near]
    # The planned place first: it may be clear although a raster point beside it is not.
    found = [np.zeros((1, 4))]  # cost, turn, shift
    longest = np.hypot(*arms.T).max()
    for number, turn in enumerate(turns):
        monitor.step(0.4 + 0.3 * number / len(turns))
        clear = np.ones(len(shift_x), bool)
        for i, arm in enumerate(arms @ _turned(turn).T):
            clear[clear] = maps[i].is_free(centre + arm, shift_x[clear], shift_y[clear])
        x, y = shift_x[clear], shift_y[clear]
        # A turn counts as the way that the outermost hole goes by it.
        found.append(np.column_stack([np.hypot(x, y) + abs(turn) * longest, np.full(len(x), turn), x, y]))
    candidates = np.concatenate(found)
    candidates = candidates[np.lexsort((*candidates.T[:0:-1], np.round(candidates[:, 0], 6)))]
    return _verified(candidates, holes, arms, pieces, ground, rules, wanted, confidence, monitor.part(0.7, 1.0))


def _turns(wanted: PlacementRules, arm_m: float) -> np.ndarray:
    if wanted.turn_rad == 0 or arm_m < 1e-9:
        return np.zeros(1)
    count = int(np.floor(wanted.turn_rad / wanted.turn_step_rad + 1e-9))
    return np.arange(-count, count + 1) * wanted.turn_step_rad


def _turned(angle: float) -> np.ndarray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


class _FreeMap:
    """Where the centre of one hole may stand, on a raster around the pattern."""

    def __init__(self, free: np.ndarray, x0: float, y0: float):
        self.free, self.x0, self.y0 = free, x0, y0

    def is_free(self, place, shift_x, shift_y) -> np.ndarray:
        column = np.rint((place[0] + shift_x - self.x0) / STEP_M).astype(int)
        row = np.rint((place[1] + shift_y - self.y0) / STEP_M).astype(int)
        return self.free[row, column]


def _free_maps(holes, pieces, ground, rules, wanted, confidence, centre, monitor) -> List[_FreeMap]:
    """One map for each hole; holes that are drilled alike share one."""
    reach = np.hypot(*(holes.entry_m - centre).T).max() + wanted.search_m + 2 * STEP_M
    count = int(np.ceil(reach / STEP_M))
    x, y = (middle + np.arange(-count, count + 1) * STEP_M for middle in centre)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    allowed = None if wanted.allowed_edges_m is None else distance_inside(points, wanted.allowed_edges_m)
    made: Dict[Tuple, _FreeMap] = {}
    maps = []
    for i in range(len(holes)):
        monitor.step(i / len(holes))
        kind = (holes.diameter_m[i], holes.depth_m[i], holes.tolerance_m[i])
        if kind not in made:
            diameter, depth, tolerance = map(float, kind)
            space = ClearSpace(pieces, ground, rules, depth, tolerance, diameter + 0.01, confidence)
            cells = space.window(x, y)
            # A hole stands up to half a step's diagonal from its raster point, where it may be that much closer.
            free = np.nan_to_num(cells, nan=-1.0) / 2 >= diameter / 2 + STEP_M * np.sqrt(0.5)
            if allowed is not None:
                free &= (allowed >= diameter / 2 + STEP_M * np.sqrt(0.5)).reshape(free.shape)
            made[kind] = _FreeMap(free, float(x[0]), float(y[0]))
        maps.append(made[kind])
    return maps


def _verified(candidates, holes, arms, pieces, ground, rules, wanted, confidence, monitor) -> List[Place]:
    """The cheapest places that the full check calls clear, no two of them alike."""
    places: List[Place] = []
    centre = holes.entry_m.mean(axis=0)
    while len(candidates) and len(places) < wanted.alternatives:
        monitor.step(len(places) / wanted.alternatives)
        _, turn, *shift = candidates[0]
        moved = holes.moved_to(centre + shift + arms @ _turned(turn).T)
        verdicts = check_penetrations(moved, pieces, ground, rules, confidence)
        good = all(one.verdict == CLEAR for one in verdicts) and _allowed(moved, wanted)
        if good:
            places.append(Place(np.array(shift), float(turn), moved, verdicts))
        away = np.hypot(candidates[:, 2] - shift[0], candidates[:, 3] - shift[1])
        alike = (away < (APART_M if good else STEP_M)) & (
            np.abs(candidates[:, 1] - turn) < (2 if good else 0.5) * wanted.turn_step_rad
        )
        alike[0] = True
        candidates = candidates[~alike]
    return places


def _allowed(holes: Penetrations, wanted: PlacementRules) -> bool:
    if wanted.allowed_edges_m is None:
        return True
    return bool(np.all(distance_inside(holes.entry_m, wanted.allowed_edges_m) >= holes.diameter_m / 2))
