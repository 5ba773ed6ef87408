"""Stretches of items that no line saw: bridged between sightings on either side, and drawn as such.

An item runs on where most lines see it; a line that misses it, or the strip between two areas, is bridged. A course there is an
interpolation, not an observation.
"""

from typing import List

import numpy as np

from ..geometry.polylines import nearest_on, points_at, stations_m

# A stretch counts as bridged from this many of the item's usual distances between sightings on, and this length.
USUAL_GAPS, SHORTEST_M = 1.6, 0.12


def find_bridged(vertices_m: np.ndarray, places_m: np.ndarray) -> List[np.ndarray]:
    """Parts of a polyline (x, y, depth), shape (n, 3) each, between sightings (x, y) further apart along it than usual.

    None for an item with fewer than three sightings: a surveyor drew it, or there is no usual distance.
    """
    if len(places_m) < 3:
        return []
    stations = stations_m(vertices_m)
    along = np.sort(nearest_on(vertices_m, places_m).station_m)
    gaps = np.diff(along)
    usual = float(np.median(gaps[gaps > 0.01])) if np.any(gaps > 0.01) else 0.0
    out = []
    for number in np.flatnonzero(gaps > max(USUAL_GAPS * usual, SHORTEST_M)):
        low, high = along[number], along[number + 1]
        between = stations[(stations > low) & (stations < high)]
        out.append(points_at(vertices_m, np.concatenate([[low], between, [high]])))
    return out
