"""The largest diameter that may be drilled at each point of a floor, to one depth and with one confidence.

Distances are those from cell centres to the items' polylines and to the edges of what is known, not from cell to cell. The
value of a cell holds for a hole whose axis stands at the cell's centre; within the cell it changes by at most the cell's
diagonal. It is never larger than what `check` would call clear.
"""

from typing import Callable, List, Mapping, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import UNKNOWN_KIND
from ..floor.unknown_ground import KnownGround
from ..geometry.polygons import edges_of
from .clearance import Pieces
from .model import Confidence, KindRule
from .touched_unknown import edge_distance_m

# A sloping item counts at the depth of its shallowest point within such a step of depth.
DEPTH_STEP_M = 0.0002
TILE = 512
# The distance to keep depends on how steeply down it points, and so on itself; each round is ten times closer.
SIGMA_ROUNDS = 6


class ClearSpace:
    """Largest drillable diameter for holes upright to `depth_m`, set out with `tolerance_m` (1-sigma).

    Values are metres, from 0 (nothing may be drilled) to `largest_m`; NaN is unknown.
    """

    def __init__(
        self,
        pieces: Pieces,
        ground: KnownGround,
        rules: Mapping[str, KindRule],
        depth_m: float,
        tolerance_m: float,
        largest_m: float,
        confidence: Confidence = Confidence(),
    ):
        from scipy.special import ndtri

        if not (depth_m > 0 and largest_m > 0 and tolerance_m >= 0):
            raise ProcessingError(
                tr("Depth and largest diameter must be above zero metres, and the tolerance zero or more.")
            )
        self.ground, self.depth_m, self.largest_m = ground, depth_m, largest_m
        self.walls = _walls(pieces, depth_m, tolerance_m, confidence)
        self.sigmas = float(ndtri(confidence.keep_out))
        self.edge_m = float(edge_distance_m(rules[UNKNOWN_KIND], tolerance_m, confidence))
        self.strips = [edges_of([one.corners_m]) for one in ground.strips if one.depth_m < depth_m]

    @property
    def extent_m(self) -> np.ndarray:
        """Lowest and highest x, y of all that was scanned both ways, shape (2, 2); (0, 2) where nothing was."""
        depths = self.ground.depths_m
        points = self.ground.outline(depths[-1], self.sigmas).reshape(-1, 2) if len(depths) else np.zeros((0, 2))
        return np.array([points.min(axis=0), points.max(axis=0)]) if len(points) else points

    def window(self, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
        """Diameters on the cells with centres `x_m` (column,) and `y_m` (row,), evenly spaced; float32, NaN unknown."""
        reach = self.largest_m / 2
        known, free = self._known(x_m, y_m)
        for strip in self.strips:
            known &= ~_filled(strip, x_m, y_m)
            _carve(free, x_m, y_m, strip[:, 0], strip[:, 1], np.zeros(len(strip)), reach)
        known &= free > 0  # where the rim of the thinnest hole comes too close to the unknown, all is unknown
        if not known.any():
            return np.full(known.shape, np.nan, np.float32)
        _carve(free, x_m, y_m, *self.walls, reach)
        return np.where(known, 2 * np.maximum(free, 0.0), np.nan).astype(np.float32)

    def _known(self, x_m, y_m) -> Tuple[np.ndarray, np.ndarray]:
        """Cells that are known, and the radius that the unknown around leaves them, metres."""
        depths = self.ground.depths_m
        known = np.zeros((len(y_m), len(x_m)), bool)
        free = np.zeros(known.shape, np.float32)
        if not len(depths):
            return known, free
        enough = np.full(known.shape, int(np.sum(depths >= self.depth_m)))
        if enough.flat[0] < len(depths):  # some ground was seen less deep: does the slab base end above?
            points = np.stack(np.meshgrid(x_m, y_m), axis=-1).reshape(-1, 2)
            needed = self.ground.needed_depth_m(points, self.depth_m)
            enough = np.sum(depths[:, None] >= needed, axis=0).reshape(known.shape)
        for count in np.unique(enough[enough > 0]):
            outline = self.ground.outline(depths[count - 1], self.sigmas)
            own = (enough == count) & _filled(outline, x_m, y_m)
            if own.any():
                left = np.full(known.shape, np.float32(self.largest_m / 2), np.float32)
                _carve(
                    left, x_m, y_m, outline[:, 0], outline[:, 1], np.full(len(outline), self.edge_m), self.largest_m / 2
                )
                free[own] = left[own]
                known |= own
        return known, free


def fill_floor(
    space: ClearSpace, x_m: np.ndarray, y_m: np.ndarray, write: Callable, monitor: Monitor = Monitor()
) -> Tuple[int, int]:
    """Computes a floor tile by tile; `write(window, row, column)` takes each tile that is not all unknown.

    Returns the numbers of cells that are known, and of those where something may be drilled.
    """
    extent = space.extent_m
    known = free = 0
    corners: List[Tuple[int, int]] = [(r, c) for r in range(0, len(y_m), TILE) for c in range(0, len(x_m), TILE)]
    for number, (row, column) in enumerate(corners):
        monitor.step(number / len(corners))
        own_x, own_y = x_m[column : column + TILE], y_m[row : row + TILE]
        if not len(extent) or own_x[0] > extent[1, 0] or own_x[-1] < extent[0, 0]:
            continue
        window = space.window(own_x, own_y)
        known += int(np.isfinite(window).sum())
        free += int((window > 0).sum())
        if np.isfinite(window).any():
            write(window, row, column)
    return known, free


def _walls(pieces: Pieces, depth_m: float, tolerance_m: float, confidence: Confidence) -> Tuple[np.ndarray, ...]:
    """Items as pieces: start and end in plan (n, 2), and the distance to keep from the hole's rim to their middle, metres.

    A hole that ends above an item may come closer in plan; one that ends far enough above may cross it.
    """
    tops = np.stack([pieces.start_m[:, 2], pieces.end_m[:, 2]])
    # Only where a piece passes the depth from which holes may cross it does its slope matter.
    most = pieces.largest_radius_m + confidence.needed_m(
        pieces.keep_out_m,
        np.hypot(np.hypot(pieces.sigma_xy_m, pieces.sigma_depth_m), confidence.depth_tolerance_m + tolerance_m),
    )
    low, high = (
        tops.min(axis=0) + pieces.largest_radius_m[pieces.owner],
        tops.max(axis=0) + pieces.largest_radius_m[pieces.owner],
    )
    passes = (high > depth_m) & (low < depth_m + most[pieces.owner])
    parts = np.where(passes, np.maximum(np.ceil((high - low) / DEPTH_STEP_M), 1), 1).astype(int)
    piece = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(piece)) - np.repeat(np.cumsum(parts) - parts, parts)
    way = (pieces.end_m - pieces.start_m)[piece] / parts[piece, None]
    start = pieces.start_m[piece] + number[:, None] * way
    end, owner = start + way, pieces.owner[piece]
    radius = pieces.largest_radius_m[owner]
    below = np.maximum(np.minimum(start[:, 2], end[:, 2]) + radius - depth_m, 0.0)
    aside = np.hypot(pieces.sigma_xy_m[owner], tolerance_m)
    deep = np.hypot(pieces.sigma_depth_m[owner], confidence.depth_tolerance_m)
    needed = radius + confidence.needed_m(pieces.keep_out_m[owner], aside)
    for _ in range(SIGMA_ROUNDS):
        share = np.minimum(below / needed, 1.0)
        sigma = np.sqrt((1.0 - share**2) * aside**2 + share**2 * deep**2)
        needed = radius + confidence.needed_m(pieces.keep_out_m[owner], sigma)
    near = needed > below
    keep = np.sqrt(np.maximum(needed**2 - below**2, 0.0))
    return start[near, :2], end[near, :2], keep[near]


def _carve(radius: np.ndarray, x_m, y_m, starts, ends, keep_m, reach_m: float) -> None:
    """Lowers `radius` to the distance from each line less what is to keep, in the cells that it can matter to."""
    margin = (keep_m + reach_m)[:, None]
    low, high = np.minimum(starts, ends) - margin, np.maximum(starts, ends) + margin
    near = (low[:, 0] <= x_m.max()) & (high[:, 0] >= x_m.min()) & (low[:, 1] <= y_m.max()) & (high[:, 1] >= y_m.min())
    for k in np.flatnonzero(near):
        columns, rows = _span(x_m, low[k, 0], high[k, 0]), _span(y_m, low[k, 1], high[k, 1])
        way = ends[k] - starts[k]
        squared = max(float(way @ way), 1e-18)
        x, y = (x_m[columns] - starts[k, 0])[None, :], (y_m[rows] - starts[k, 1])[:, None]
        part = np.clip(x * (way[0] / squared) + y * (way[1] / squared), 0.0, 1.0)
        distance = np.sqrt((x - part * way[0]) ** 2 + (y - part * way[1]) ** 2) - keep_m[k]
        view = radius[rows, columns]
        np.minimum(view, distance, out=view, casting="same_kind")


def _span(centres: np.ndarray, low: float, high: float) -> slice:
    """The cells whose centres lie from `low` to `high`; centres may run up or down."""
    if len(centres) > 1 and centres[0] > centres[-1]:
        found = _span(centres[::-1], low, high)
        return slice(len(centres) - found.stop, len(centres) - found.start)
    return slice(int(np.searchsorted(centres, low, "left")), int(np.searchsorted(centres, high, "right")))


def _filled(edges: np.ndarray, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Which cell centres lie inside the polygons with these edges, by the even-odd rule, shape (row, column)."""
    inside = np.zeros((len(y_m), len(x_m)), bool)
    if not len(edges):
        return inside
    start, end = edges[:, 0], edges[:, 1]
    rise = np.where(end[:, 1] == start[:, 1], 1.0, end[:, 1] - start[:, 1])
    touched = (np.minimum(start[:, 1], end[:, 1]) <= y_m.max()) & (np.maximum(start[:, 1], end[:, 1]) > y_m.min())
    start, end, rise = start[touched], end[touched], rise[touched]
    for row, y in enumerate(y_m):
        straddles = (start[:, 1] > y) != (end[:, 1] > y)
        x = np.sort((start[:, 0] + (y - start[:, 1]) * (end[:, 0] - start[:, 0]) / rise)[straddles])
        # A centre is inside where an odd number of edges lies to its left.
        inside[row] = np.searchsorted(x, x_m, "left") % 2 == 1
    return inside
