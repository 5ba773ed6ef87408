"""Stretches of items that no line saw: bridged between sightings on either side, and drawn as such.

An item runs on where most lines see it; a line that misses it, or the strip between two areas, is bridged. A course there is an
interpolation, not an observation.
"""

from typing import List

import numpy as np

# A stretch counts as bridged from this many of the item's usual distances between sightings on, and this length.
USUAL_GAPS, SHORTEST_M = 1.6, 0.12


def find_bridged(vertices_m: np.ndarray, places_m: np.ndarray) -> List[np.ndarray]:
    """Parts of a polyline (x, y, depth), shape (n, 3) each, between sightings (x, y) further apart along it than usual.

    None for an item with fewer than three sightings: a surveyor drew it, or there is no usual distance.
    """
    if len(places_m) < 3:
        return []
    ends = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertices_m[:, :2], axis=0).T))])
    along = np.sort(_along(vertices_m[:, :2], ends, places_m))
    gaps = np.diff(along)
    usual = float(np.median(gaps[gaps > 0.01])) if np.any(gaps > 0.01) else 0.0
    out = []
    for number in np.flatnonzero(gaps > max(USUAL_GAPS * usual, SHORTEST_M)):
        low, high = along[number], along[number + 1]
        at = np.concatenate([[low], ends[(ends > low) & (ends < high)], [high]])
        out.append(np.column_stack([np.interp(at, ends, vertices_m[:, axis]) for axis in range(3)]))
    return out


def _along(line_m: np.ndarray, ends_m: np.ndarray, places_m: np.ndarray) -> np.ndarray:
    """Distance along a polyline of its point nearest to each place; the first of two that are as near."""
    starts, ways = line_m[:-1], np.diff(line_m, axis=0)
    squares = np.maximum((ways**2).sum(axis=1), 1e-12)
    from_start = places_m[:, None] - starts  # (place, segment, axis)
    share = np.clip((from_start * ways).sum(axis=2) / squares, 0.0, 1.0)
    away = np.hypot(*np.moveaxis(from_start - share[:, :, None] * ways, 2, 0))
    nearest = np.argmin(away, axis=1)
    return ends_m[nearest] + share[np.arange(len(places_m)), nearest] * np.sqrt(squares[nearest])
