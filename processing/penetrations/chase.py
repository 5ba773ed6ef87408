"""The cheapest way for a saw cut or chase between two points: no deeper than planned, off the items, few bends."""

from dataclasses import dataclass, field
from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import UNKNOWN_KIND
from ..floor.unknown_ground import KnownGround
from ..geometry.polygons import distance_inside
from ..geometry.polylines import length_m
from .check import check_penetrations
from .clear_space import ClearSpace
from .clearance import Pieces, cut_up, find_meetings
from .model import Confidence, KindRule, Penetrations
from .touched_unknown import find_unknowns

STATION_M = 0.005
CROSSED = 0.5
# The eight directions of travel from cell to cell, anticlockwise: column and row.
MOVES = ((1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1))
MOST_CELLS = 400_000


@dataclass(frozen=True)
class ChaseRules:
    """What a way costs and may do.

    Attributes
    ----------
    depth_m, width_m, tolerance_m : float
        Of the cut, metres; `tolerance_m` is the 1-sigma of setting out.
    bend_m : float
        Length that a bend of 45 degrees is worth, metres.
    crossing_factor : float
        A metre that cuts or comes close to items that may be crossed costs so many metres.
    cross_kinds : sequence of str
        Kinds that may be crossed; empty: none.
    crossing_edges_m : ndarray, shape (edge, 2, 2), or None
        Edges of the polygons within which they may be crossed; None: everywhere.
    around_m : float
        How far beside both points the way may lead, metres.
    cell_m : float
        Cell of the search, metres.
    """

    depth_m: float
    width_m: float
    tolerance_m: float = 0.005
    bend_m: float = 0.10
    crossing_factor: float = 5.0
    cross_kinds: Sequence[str] = ()
    crossing_edges_m: Optional[np.ndarray] = field(default=None, compare=False)
    around_m: float = 1.0
    cell_m: float = 0.01

    def check(self) -> None:
        """Raises `ProcessingError` for what makes no cut."""
        if not (self.depth_m > 0 and self.width_m > 0 and self.cell_m > 0):
            raise ProcessingError(tr("Depth, width and cell of a chase must be above zero metres."))
        if not (self.tolerance_m >= 0 and self.bend_m >= 0 and self.around_m >= 0 and self.crossing_factor >= 1):
            raise ProcessingError(
                tr(
                    "Tolerance, bends and detour must not be negative, and crossing must not be cheaper than clear "
                    "ground."
                )
            )


@dataclass(frozen=True)
class Chase:
    """A way: `vertices_m` (n, 2) in plan; what it crosses or comes too close to, by item id; bends in degrees."""

    vertices_m: np.ndarray = field(compare=False)
    crossed: Tuple[str, ...]
    too_close: Tuple[str, ...]

    @property
    def length_m(self) -> float:
        return length_m(self.vertices_m)

    @property
    def bends_deg(self) -> np.ndarray:
        way = np.diff(self.vertices_m, axis=0)
        angle = np.arctan2(way[:, 1], way[:, 0])
        return np.abs(np.degrees(np.angle(np.exp(1j * np.diff(angle)))))


class _Floor:
    """What may be cut where, for one chase."""

    def __init__(self, pieces: Pieces, ground: KnownGround, rules, wanted: ChaseRules, confidence: Confidence):
        self.ground, self.rules, self.wanted, self.confidence = ground, rules, wanted, confidence
        self.pieces = pieces
        self.strict = cut_up([one for one in pieces.obstacles if one.kind not in wanted.cross_kinds])

    def stations(self, start, end) -> Penetrations:
        """Holes as wide and deep as the cut, along a leg."""
        count = max(int(np.ceil(np.hypot(*(end - start)) / STATION_M)), 1) + 1
        places = start + np.linspace(0.0, 1.0, count)[:, None] * (end - start)
        return Penetrations.upright(places, self.wanted.width_m, self.wanted.depth_m, self.wanted.tolerance_m)

    def leg_cost(self, start, end) -> float:
        """Cost of a straight leg, metres; infinite where it may not be cut."""
        holes = self.stations(start, end)
        if find_unknowns(holes, self.ground, self.rules[UNKNOWN_KIND], self.confidence).reasons:
            return np.inf
        if np.any(find_meetings(holes, self.strict, self.confidence).slack_m < 0):
            return np.inf
        near = find_meetings(holes, self.pieces, self.confidence)
        crossing = np.zeros(len(holes), bool)
        crossing[near.hole[near.slack_m < 0]] = True
        if crossing.any() and not self.may_cross(holes.entry_m[crossing]).all():
            return np.inf
        return float(np.hypot(*(end - start)) * (1.0 + (self.wanted.crossing_factor - 1.0) * crossing.mean()))

    def may_cross(self, points) -> np.ndarray:
        edges = self.wanted.crossing_edges_m
        return np.ones(len(points), bool) if edges is None else distance_inside(points, edges) >= 0

    def cell_costs(self, x, y) -> np.ndarray:
        """Cost of a metre at each cell, shape (row, column); infinite where the cut may not go."""
        wanted = self.wanted
        # Half way to the next cell's centre the cut may be that much closer.
        needed = wanted.width_m + 2 * np.sqrt(0.5) * wanted.cell_m
        free = []
        for pieces in (self.strict, self.pieces):
            space = ClearSpace(
                pieces, self.ground, self.rules, wanted.depth_m, wanted.tolerance_m, needed + 0.01, self.confidence
            )
            free.append(np.nan_to_num(space.window(x, y), nan=-1.0) >= needed)
        cost = np.where(free[1], 1.0, np.inf)
        crossing = free[0] & ~free[1]
        if wanted.cross_kinds and crossing.any():
            rows, columns = np.nonzero(crossing)
            allowed = self.may_cross(np.column_stack([x[columns], y[rows]]))
            cost[rows[allowed], columns[allowed]] = wanted.crossing_factor
        return cost


def route_chase(
    start_m,
    end_m,
    pieces: Pieces,
    ground: KnownGround,
    rules: Mapping[str, KindRule],
    wanted: ChaseRules,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Optional[Chase]:
    """The cheapest chase from `start_m` to `end_m` (site x, y, metres), or None where none exists around them.

    A way over the cells is found by Dijkstra's method on (cell, direction), so that bends can be priced; then its corners
    are cut off where a straight leg costs no more. Raises `ProcessingError` where one of the ends may not be cut at all.
    """
    wanted.check()
    start, end = np.asarray(start_m, float), np.asarray(end_m, float)
    if np.hypot(*(end - start)) < wanted.cell_m:
        raise ProcessingError(tr("Start and end of the chase are the same place; choose two."))
    floor = _Floor(pieces, ground, rules, wanted, confidence)
    for sentence, place in (
        (tr("The chase cannot start there."), start),
        (tr("The chase cannot end there."), end),
    ):
        if np.isinf(floor.leg_cost(place, place)):
            hole = Penetrations.upright(place, wanted.width_m, wanted.depth_m, wanted.tolerance_m)
            reason = check_penetrations(hole, pieces, ground, rules, confidence)[0].reason
            raise ProcessingError(f"{sentence} {reason}")
    monitor.step(0.05)
    direct = floor.leg_cost(start, end)
    if direct <= np.hypot(*(end - start)) + 1e-9:
        return _chase([start, end], floor)
    vertices = _over_cells(start, end, floor, monitor.part(0.1, 0.7))
    if vertices is None:
        return None if np.isinf(direct) else _chase([start, end], floor)
    monitor.step(0.7)
    return _chase(_cut_corners(vertices, floor, monitor.part(0.7, 1.0)), floor)


def _over_cells(start, end, floor: _Floor, monitor: Monitor) -> Optional[List[np.ndarray]]:
    """Vertices of the cheapest way from cell to cell; None where there is none."""
    from scipy.sparse.csgraph import dijkstra

    wanted = floor.wanted
    low, high = np.minimum(start, end) - wanted.around_m, np.maximum(start, end) + wanted.around_m
    before = np.floor((start - low) / wanted.cell_m).astype(int)
    after = np.floor((high - start) / wanted.cell_m).astype(int)
    x, y = (start[k] + np.arange(-before[k], after[k] + 1) * wanted.cell_m for k in (0, 1))
    if len(x) * len(y) > MOST_CELLS:
        raise ProcessingError(
            tr(
                "The search for a chase would need {count} cells, more than {most_cells}; choose a larger cell size "
                "or a smaller detour.",
                count=len(x) * len(y),
                most_cells=MOST_CELLS,
            )
        )
    cost = floor.cell_costs(x, y)
    monitor.step(0.3)
    first = (before[1], before[0])
    last = tuple(np.clip(np.rint((end - (x[0], y[0]))[::-1] / wanted.cell_m).astype(int), 0, np.array(cost.shape) - 1))
    # The ends were looked at exactly; their cells may lie just across a limit.
    for cell in (first, last):
        cost[cell] = min(cost[cell], wanted.crossing_factor)
    graph = _graph(cost, wanted)
    count = cost.size
    source = np.ravel_multi_index(first, cost.shape)
    lengths, before_it = dijkstra(_with_start(graph, source, count), indices=8 * count, return_predecessors=True)
    monitor.step(0.9)
    ends = np.arange(8) * count + np.ravel_multi_index(last, cost.shape)
    node = int(ends[np.argmin(lengths[ends])])
    if not np.isfinite(lengths[node]):
        return None
    cells = []
    while node != 8 * count and node >= 0:
        if not cells or cells[-1] != node % count:
            cells.append(node % count)
        node = int(before_it[node])
    rows, columns = np.unravel_index(cells[::-1], cost.shape)
    way = np.column_stack([x[columns], y[rows]])
    turned = np.any(np.abs(np.diff(way, 2, axis=0)) > 1e-9, axis=1) if len(way) > 2 else np.zeros(0, bool)
    return [start, *way[1:-1][turned], end]


def _graph(cost: np.ndarray, wanted: ChaseRules):
    """Sparse graph of the nodes direction * cells + cell: steps ahead, and turns on the spot by 45 degrees."""
    from scipy.sparse import coo_matrix

    rows, columns = cost.shape
    count = cost.size
    number = np.arange(count).reshape(cost.shape)
    open_cells = np.isfinite(cost)
    tails, heads, prices = [], [], []
    for direction, (dx, dy) in enumerate(MOVES):
        here = (slice(max(-dy, 0), rows - max(dy, 0)), slice(max(-dx, 0), columns - max(dx, 0)))
        there = (slice(max(dy, 0), rows - max(-dy, 0)), slice(max(dx, 0), columns - max(-dx, 0)))
        both = open_cells[here] & open_cells[there]
        tails.append(direction * count + number[here][both])
        heads.append(direction * count + number[there][both])
        prices.append(wanted.cell_m * np.hypot(dx, dy) * (cost[here][both] + cost[there][both]) / 2)
        for other in ((direction + 1) % 8, (direction - 1) % 8):
            cells = number[open_cells]
            tails.append(direction * count + cells)
            heads.append(other * count + cells)
            prices.append(np.full(len(cells), wanted.bend_m + 1e-9))  # a price of zero would be no edge
    shape = (8 * count + 1, 8 * count + 1)
    return coo_matrix((np.concatenate(prices), (np.concatenate(tails), np.concatenate(heads))), shape).tocsr()


def _with_start(graph, cell: int, count: int):
    """The graph with one more node, from which the way may set out in every direction at (almost) no price."""
    from scipy.sparse import coo_matrix

    heads = np.arange(8) * count + cell
    return (graph + coo_matrix((np.full(8, 1e-9), (np.full(8, 8 * count), heads)), graph.shape)).tocsr()


def _cut_corners(vertices: List[np.ndarray], floor: _Floor, monitor: Monitor) -> List[np.ndarray]:
    """Leaves out vertices while the way gets no dearer."""
    vertices = list(vertices)
    legs = [floor.leg_cost(a, b) for a, b in zip(vertices[:-1], vertices[1:])]
    k, total = 0, len(vertices)
    while k < len(vertices) - 2:
        monitor.step(1.0 - (len(vertices) - k) / total)
        for skip in range(len(vertices) - 1, k + 1, -1):
            fresh = floor.leg_cost(vertices[k], vertices[skip])
            if fresh <= sum(legs[k:skip]) + 1e-9:
                vertices[k + 1 : skip], legs[k:skip] = [], [fresh]
                break
        k += 1
    return vertices


def _chase(vertices: Sequence[np.ndarray], floor: _Floor) -> Chase:
    crossed, close = set(), set()
    for one, other in zip(vertices[:-1], vertices[1:]):
        near = find_meetings(floor.stations(one, other), floor.pieces, floor.confidence)
        ids = np.array([floor.pieces.obstacles[k].item_id for k in near.item], dtype=object)
        crossed.update(ids[near.touch_probability >= CROSSED])
        close.update(ids[near.slack_m < 0])
    return Chase(np.array(vertices), tuple(sorted(crossed)), tuple(sorted(close - crossed)))
