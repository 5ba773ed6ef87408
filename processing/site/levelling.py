"""Amplitudes levelled between areas: one offset in dB for each, from what overlapping areas show of the same ground.

Coupling, surface and battery make one area brighter than the next. Only the offset of a whole area is taken off; what an area shows
within itself is never changed.
"""

from typing import Callable, List, Sequence, Tuple

import numpy as np

from .geotiff import GridReader

FEWEST_CELLS = 50
BAND_STEP = 3  # neighbouring slices hold the same echoes
LARGEST_SHIFT_DB = 12.0  # more is no coupling but another kind of ground
# A chain of areas must not drift away: an offset of this size is as surprising as the scatter of one overlap's median.
USUAL_OFFSET_DB = 6.0
SCATTER_DB = 1.0


def overlaps(readers: Sequence[GridReader]) -> List[Tuple[int, int]]:
    """Pairs of readers whose grids overlap."""
    boxes = np.array([(g.left, g.top - g.rows, g.left + g.columns, g.top) for g in (r.grid for r in readers)])
    pairs = []
    for number, box in enumerate(boxes):
        later = boxes[number + 1 :]
        meet = (later[:, 0] < box[2]) & (box[0] < later[:, 2]) & (later[:, 1] < box[3]) & (box[1] < later[:, 3])
        pairs += [(number, number + 1 + int(other)) for other in np.flatnonzero(meet)]
    return pairs


def level_offsets(readers: Sequence[GridReader], step: Callable[[float], None] = lambda share: None) -> np.ndarray:
    """What to add to each raster, dB, so that overlaps agree best; zero on average over each group of areas that hang together.

    Least squares over the medians of all overlaps, each area's offset held near zero with a sigma of 6 dB; shape (reader,).
    """
    pairs = overlaps(readers)
    found = []
    for number, (one, other) in enumerate(pairs):
        step(number / len(pairs))
        difference = _median_difference(readers[one], readers[other])
        if difference is not None and abs(difference) < 2 * LARGEST_SHIFT_DB:
            found.append((one, other, difference))
    if not found:
        return np.zeros(len(readers))
    return _adjust(len(readers), found)


def _adjust(count: int, found: Sequence[Tuple[int, int, float]]) -> np.ndarray:
    from scipy.sparse import coo_matrix, identity
    from scipy.sparse.csgraph import connected_components
    from scipy.sparse.linalg import spsolve

    one, other, difference = (np.array(part) for part in zip(*found))
    rows = np.arange(len(found))
    ones = np.ones(len(found))
    # The one that shows more is lowered: offset(one) - offset(other) = other's value - one's value.
    design = coo_matrix(
        (np.concatenate([ones, -ones]), (np.concatenate([rows, rows]), np.concatenate([one, other]))),
        shape=(len(found), count),
    ).tocsr()
    normal = design.T @ design / SCATTER_DB**2 + identity(count) / USUAL_OFFSET_DB**2
    offsets = spsolve(normal.tocsc(), design.T @ -difference / SCATTER_DB**2)
    _, part = connected_components(design.T @ design, directed=False)
    middle = np.bincount(part, offsets) / np.bincount(part)
    return np.clip(offsets - middle[part], -LARGEST_SHIFT_DB, LARGEST_SHIFT_DB)


def _median_difference(one: GridReader, other: GridReader):
    """Median of first minus second over the cells that both show, dB; None where they share too few."""
    a, b = one.grid, other.grid
    left, top = max(a.left, b.left), min(a.top, b.top)
    right = min(a.left + a.columns, b.left + b.columns)
    bottom = max(a.top - a.rows, b.top - b.rows)
    columns, rows = right - left, top - bottom
    bands = list(range(1, min(len(one.bands), len(other.bands)) + 1, BAND_STEP))
    here, there = (
        reader.read(reader.grid.top - top, left - reader.grid.left, rows, columns, bands) for reader in (one, other)
    )
    difference = (here - there)[np.isfinite(here) & np.isfinite(there)]
    return float(np.median(difference)) if difference.size >= FEWEST_CELLS * len(bands) else None
