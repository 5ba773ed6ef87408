"""What ground of one survey is unknown: all that was not scanned both ways, not deep enough, or that bars hide (`hidden_ground`).

`KnownGround` holds what was seen, and to what depth something must have been seen. What follows is decided by those that ask:
`penetrations.touched_unknown` says which holes touch unknown ground, `penetrations.clear_space` where room is left beside it, both
with the scanned ground shrunk by its uncertainty; `views.hole_section` draws how deep is known, not shrunk.

Others answer from the layer `coverage` alone, without hidden strips and slab base: drawings and reports (`reports.plane_content`),
and the record (`record.query`, shrunk). A record is of many surveys; strips follow from one survey's items and wavelengths and from
the keep-out distances of one check, and the base is a raster beside survey.gpkg: a record stores none of them.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Callable, Optional, Sequence, Tuple

import numpy as np

from ..geometry.polygons import Rings, edges_of, grown_union
from .hidden_ground import HiddenStrip

# A hole counts as through where it goes deeper than the slab base less two of its sigmas.
BASE_SIGMAS = 2.0


@dataclass(frozen=True)
class ScannedPiece:
    """One polygon of the layer `coverage`, all of one level and surface.

    `rings_m`: outer ring and holes, site x, y, metres. `depth_m`: depth to which it counts as scanned; None: not known.
    """

    area_id: str
    rings_m: Rings = field(compare=False)
    depth_m: Optional[float]
    line_directions: int
    sigma_xy_m: float


def _no_base(points_m: np.ndarray) -> Tuple[np.ndarray, np.ndarray]:
    return np.full(len(points_m), np.nan), np.full(len(points_m), np.nan)


@dataclass(frozen=True)
class KnownGround:
    """What is known of one level and surface.

    Attributes
    ----------
    pieces : sequence of ScannedPiece
    strips : sequence of HiddenStrip
    base : callable
        Points (n, 2) to slab thickness and its 1-sigma, metres, shape (n,); NaN where the base is not seen.
    unplaced : sequence of str
        Areas of this level and surface that have no position on the site grid.
    """

    pieces: Sequence[ScannedPiece] = ()
    strips: Sequence[HiddenStrip] = ()
    base: Callable[[np.ndarray], Tuple[np.ndarray, np.ndarray]] = _no_base
    unplaced: Sequence[str] = ()

    @property
    def depths_m(self) -> np.ndarray:
        """The depths that pieces scanned both ways reach, deepest first, without repetition, metres."""
        return np.array(sorted({one.depth_m for one in self.pieces if _both_ways(one)}, reverse=True))

    def needed_depth_m(self, points_m: np.ndarray, depth_m) -> np.ndarray:
        """Depth to which the ground must have been seen for something that reaches `depth_m` at `points_m`, metres.

        Below the slab base nothing needs to be seen; where the base is not seen, no more is known than the depth itself.
        """
        thickness, sigma = self.base(np.asarray(points_m, float))
        to_base = thickness - BASE_SIGMAS * sigma
        return np.where(np.isfinite(to_base), np.minimum(depth_m, to_base), depth_m)

    def outline(self, depth_m: float, sigmas: float) -> np.ndarray:
        """Edges of the ground scanned both ways down to `depth_m`, each piece shrunk by that many sigmas of its position."""
        return _edges(tuple(one for one in self.pieces if _both_ways(one) and one.depth_m >= depth_m), sigmas)

    def outline_of_all(self, directions: int, sigmas: float) -> np.ndarray:
        """Edges of all ground scanned in at least so many directions, to whatever depth."""
        return _edges(tuple(one for one in self.pieces if one.line_directions >= directions), sigmas)


def _both_ways(piece: ScannedPiece) -> bool:
    return piece.line_directions >= 2 and piece.depth_m is not None


def _edges(pieces: Tuple[ScannedPiece, ...], sigmas: float) -> np.ndarray:
    # Polygons do not enter the comparison of pieces, so that equal ones could only differ in what the cache must not mix up.
    return _cached_edges(tuple((tuple(map(_frozen, one.rings_m)), -sigmas * one.sigma_xy_m) for one in pieces))


def _frozen(ring: np.ndarray) -> Tuple[Tuple[float, float], ...]:
    return tuple(map(tuple, np.asarray(ring, float)[:, :2].tolist()))


@lru_cache(maxsize=256)
def _cached_edges(pieces) -> np.ndarray:
    return edges_of(
        grown_union([[np.array(ring) for ring in rings] for rings, _ in pieces], [grow for _, grow in pieces])
    )
