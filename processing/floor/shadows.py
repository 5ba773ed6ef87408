"""Ground that is seen less deep than its area: in the shadow of a mesh (bars of two directions in one layer that leave openings too
small to look through), and where echoes drown in noise earlier than elsewhere.
"""

from dataclasses import dataclass, replace
from typing import List, Sequence

import numpy as np

from ..common.language import tr
from ..geometry.mat import HIDING_LAYER_WAVELENGTHS, OPENING_WAVELENGTHS, SIDE_BY_SIDE_RAD, USUAL_DIAMETER_M
from ..geometry.polygons import union_in_turn
from ..geometry.shapes import polygon_of
from ..items.model import Item
from ..radar.model import ShallowCell


@dataclass(frozen=True)
class Shadow:
    """Ground that is seen less deep than the area around it.

    `geometry`: an OGR polygon or several in the area's local grid; `depth_m`: of a mesh's lower bars, which are seen, or the depth
    at which echoes drown; `reason`: why, for the note on the map.
    """

    geometry: object
    depth_m: float
    reason: str


def find_shadows(items: Sequence[Item], wavelength_m: float) -> List[Shadow]:
    """Shadows of the meshes among one area's items, the shallowest first; `wavelength_m` in the concrete.

    Items of all kinds hide: what runs in a conduit of plastic, cables or water, is not known.
    """
    strips = []  # direction, depth, geometry
    for number, one in enumerate(items):
        for other in items[number + 1 :]:
            strip = _between(one, other, wavelength_m)
            if strip is not None:
                strips.append(strip)
    shadows, parallel = [], np.cos(SIDE_BY_SIDE_RAD)
    for number, (direction, depth, geometry) in enumerate(strips):
        for other_direction, other_depth, other_geometry in strips[number + 1 :]:
            crossing = abs(direction @ other_direction) <= parallel
            if crossing and abs(depth - other_depth) <= HIDING_LAYER_WAVELENGTHS * wavelength_m:
                both = geometry.Intersection(other_geometry)
                if not both.IsEmpty():
                    shadows.append(Shadow(both, max(depth, other_depth), ""))
    reason = tr("in the shadow of a mesh whose openings are smaller than half a wavelength")
    return [replace(one, reason=reason) for one in _by_depth(shadows)]


def drowned_ground(cells: Sequence[ShallowCell]) -> List[Shadow]:
    """The cells of an area where echoes sink into noise above its reliable depth, joined by depth, the shallowest first."""
    reason = tr("echoes fall below the noise here: the concrete attenuates more than elsewhere")
    corners = [
        [(c.x_min_m, c.y_min_m), (c.x_max_m, c.y_min_m), (c.x_max_m, c.y_max_m), (c.x_min_m, c.y_max_m)] for c in cells
    ]
    shadows = [Shadow(polygon_of([four]), cell.depth_m, reason) for four, cell in zip(corners, cells)]
    return _by_depth(shadows)


def _between(one: Item, other: Item, wavelength_m: float):
    """Direction, depth and quadrangle between two items that run side by side, nearly parallel and close; None for others."""
    start, end = one.vertices_m[[0, -1]]
    way = (end - start)[:2]
    length = float(np.hypot(*way))
    second = (other.vertices_m[-1] - other.vertices_m[0])[:2]
    if length < 1e-6 or abs(way @ second) < np.cos(SIDE_BY_SIDE_RAD) * length * np.hypot(*second):
        return None
    along = way / length
    across = np.array([-along[1], along[0]])
    ends = other.vertices_m[[0, -1]] if way @ second > 0 else other.vertices_m[[-1, 0]]
    u = (ends[:, :2] - start[:2]) @ along
    low, high = max(0.0, u[0]), min(length, u[1])
    if high - low < 1e-6:
        return None
    w = np.interp([low, high], u, (ends[:, :2] - start[:2]) @ across)
    depths = np.median(one.vertices_m[:, 2]), np.median(other.vertices_m[:, 2])
    opening = np.abs(w).max() - USUAL_DIAMETER_M
    one_layer = abs(depths[0] - depths[1]) <= HIDING_LAYER_WAVELENGTHS * wavelength_m
    if opening >= OPENING_WAVELENGTHS * wavelength_m or not one_layer:
        return None
    near = start[:2] + np.outer([low, high], along)
    far = near + w[:, None] * across
    return along, float(max(depths)), polygon_of([[*near, *far[::-1]]])


def _by_depth(shadows: Sequence[Shadow]) -> List[Shadow]:
    """One shadow for each centimetre of depth, each without the ground of shallower ones."""
    merged: List[Shadow] = []
    taken = None
    for depth in sorted({round(one.depth_m, 2) for one in shadows}):
        own = [one for one in shadows if round(one.depth_m, 2) == depth]
        geometry = union_in_turn(one.geometry for one in own)
        if merged:
            geometry = geometry.Difference(taken)
        taken = union_in_turn([*([taken] if taken else []), geometry])
        if not geometry.IsEmpty():
            merged.append(Shadow(geometry, max(one.depth_m for one in own), own[0].reason))
    return merged
