"""Stretches of items that no line saw: bridged between sightings on either side, and drawn as such.

An item runs on where most lines see it; a line that misses it, or the strip between two areas, is bridged. A course there is an
interpolation, not an observation.
"""

from typing import Dict, Iterable, List, Mapping, Optional

import numpy as np

from .. import cautions
from ..items.model import Item, Pick
from ..language import tr
from ..site.frame import AreaFit
from ..survey.model import ScanArea
from .geopackage import Layer

# A stretch counts as bridged from this many of the item's usual distances between sightings on, and this length.
USUAL_GAPS, SHORTEST_M = 1.6, 0.12
FIELDS = {
    **dict.fromkeys(("item_id", "level", "surface"), str),
    **dict.fromkeys(("length_m", "depth_min_m", "depth_max_m", "sigma_depth_m"), float),
}


def bridged_layer(
    items: Iterable[Item],
    picks: Iterable[Pick],
    areas: Mapping[str, ScanArea],
    fits: Mapping[str, AreaFit],
    joined_as: Mapping[str, Optional[str]],
) -> Layer:
    """`bridged`: one line for each stretch; items as they lie on the site grid, picks in their areas' grids."""
    places: Dict[str, List[np.ndarray]] = {}
    for pick in picks:
        if fits[pick.area_id].is_fitted:
            item_id = joined_as.get(pick.item_id, pick.item_id)
            places.setdefault(item_id, []).append(fits[pick.area_id].to_site([[pick.x_m, pick.y_m]])[0])
    rows = []
    for item in items:
        area = areas[item.area_ids[0]]
        if not fits[area.area_id].is_fitted:
            continue
        for stretch in find_bridged(item.vertices_m, np.array(places.get(item.item_id, []))):
            values = {
                "item_id": item.item_id,
                "level": area.level,
                "surface": area.surface,
                "length_m": float(np.sum(np.linalg.norm(np.diff(stretch, axis=0), axis=1))),
                "depth_min_m": float(stretch[:, 2].min()),
                "depth_max_m": float(stretch[:, 2].max()),
                "sigma_depth_m": item.sigma_depth_m,
            }
            rows.append((stretch * [1.0, 1.0, -1.0], values))
    words = tr("Stretches of items that no line saw: interpolated, not observed.") + " "
    return Layer("bridged", "LineStringZ", FIELDS, rows, words + cautions.SHORT)


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
