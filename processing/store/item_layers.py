"""The layers of survey.gpkg on what is cast in: `picks` and `items`, and what each area for itself shows of them."""

import json
from dataclasses import astuple
from types import MappingProxyType
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import DETECTED
from ..common.vocabulary.surfaces import is_elevation
from ..floor.bridged import find_bridged
from ..floor.edited_rows import COMPUTED
from ..floor.mats import PlaneMat
from ..floor.placing import sigma_of_pick
from ..geometry.polylines import length_in_space_m
from ..items.model import Item, Pick
from ..radar.model import AreaDepths
from ..site.frame import AreaFit
from ..survey.model import ScanArea
from .geopackage import as_json
from .layer import Layer, RowsOf, layer_of
from .schema import AREA_DEPTHS, AREA_ITEMS, BRIDGED, ITEMS, MATS, PICKS
from .table_schema import Table


def pick_layer(
    picks: Iterable[Pick],
    areas: Mapping[str, ScanArea],
    fits: Mapping[str, AreaFit],
    joined_as: Mapping[str, Optional[str]],
    drawn: Sequence[Tuple[object, Mapping]] = (),
) -> Layer:
    """`picks`, whose positions are local ones; `joined_as` gives the id of the joined item, `drawn` are a surveyor's rows."""

    def row_of(pick):
        if not isinstance(pick, Pick):
            return pick
        area, fit = areas[pick.area_id], fits[pick.area_id]
        values = {name: getattr(pick, name) for name in PICKS.columns if hasattr(pick, name)}
        values.update(source=COMPUTED, level=area.level, surface=area.surface, local_x_m=pick.x_m, local_y_m=pick.y_m)
        values.update(sigma_xy_m=sigma_of_pick(pick, fits), area_item_id=pick.item_id)
        values.update(item_id=joined_as.get(pick.item_id, pick.item_id))
        here = (*fit.to_site([[pick.x_m, pick.y_m]])[0], -pick.depth_m) if fit.is_fitted else None
        return here, values

    rows = RowsOf([*picks, *drawn], row_of)
    return layer_of(PICKS, rows, _with_further(PICKS, [values for _, values in drawn]))


def item_layer(
    items: Iterable[Item],
    areas: Mapping[str, ScanArea],
    fits: Mapping[str, AreaFit],
    depths: Mapping[str, AreaDepths],
    by_hand: Mapping[str, Mapping] = MappingProxyType({}),
) -> Layer:
    """`items`, whose vertices are in the site grid, or in the local one where the area is not positioned.

    The latter have no geometry; their vertices stand in `local_geometry`, so that nothing is lost. Where the thickness of the slab
    is known, `other_face_min_m` and `other_face_max_m` say how far the item's top (its side towards the scan) lies from the
    other face: for a soffit, its depth as counted from above. `by_hand` holds, by item id, further columns of a surveyor's rows.
    """
    rows = []
    for item in items:
        area = areas[item.area_ids[0]]
        line = item.vertices_m * [1.0, 1.0, -1.0]
        values = {name: getattr(item, name) for name in ITEMS.columns if hasattr(item, name)}
        values.update({f"p_{kind}": item.kind_probabilities.get(kind, 0.0) for kind in KINDS})
        values.update(
            depth_min_m=item.vertices_m[:, 2].min(),
            depth_max_m=item.vertices_m[:, 2].max(),
            area_ids=",".join(item.area_ids),
            level=area.level,
            surface=area.surface,
            status=DETECTED,
            source=COMPUTED,
            flag=item.flag or None,
            length_m=length_in_space_m(item.vertices_m),
            **_from_other_face(item, area, depths),
        )
        values.update(by_hand.get(item.item_id, {}))
        if not fits[area.area_id].is_fitted:
            points = ", ".join(" ".join(f"{number:.4f}" for number in point) for point in line)
            values[ITEMS.local_geometry], line = f"LINESTRING Z ({points})", None
        rows.append((line, values))
    return layer_of(ITEMS, rows, _with_further(ITEMS, by_hand.values()))


def _with_further(table: Table, rows: Iterable[Mapping]) -> Dict[str, type]:
    """A table's fields, and after them those that a surveyor added, with their types."""
    found = dict(table.columns)
    for values in rows:
        for name, value in values.items():
            if value is not None:
                found.setdefault(name, type(value) if type(value) in (str, int, float, bool) else str)
    return found


def _from_other_face(item: Item, area: ScanArea, depths: Mapping[str, AreaDepths]) -> Dict[str, float]:
    known = [depths[area_id] for area_id in item.area_ids if area_id in depths and depths[area_id].thickness_m]
    if is_elevation(area.surface) or not known:
        return {}
    slab = min(known, key=lambda one: one.sigma_thickness_m)
    from_face = slab.thickness_m - item.vertices_m[:, 2]
    return {
        ITEMS.other_face_min_m: from_face.min(),
        ITEMS.other_face_max_m: from_face.max(),
        ITEMS.sigma_other_face_m: float(np.hypot(slab.sigma_thickness_m, item.sigma_depth_m)),
    }


def area_item_layer(items: Iterable[Item]) -> Layer:
    """`area_items`: what each area for itself shows, in its local grid, from which items are placed and joined."""
    rows = []
    for item in items:
        values = {name: getattr(item, name) for name in AREA_ITEMS.columns if hasattr(item, name)}
        values.update(area_id=item.area_ids[0], kind_probabilities=as_json(item.kind_probabilities))
        values.update(vertices_m=json.dumps(item.vertices_m.tolist()))
        rows.append((None, values))
    return layer_of(AREA_ITEMS, rows)


def area_depth_layer(depths: Mapping[str, AreaDepths]) -> Layer:
    """`area_depths`: what the echoes of each area say of the slab."""
    rows = [
        (
            None,
            {
                AREA_DEPTHS.area_id: area_id,
                AREA_DEPTHS.reliable_m: own.reliable_m,
                AREA_DEPTHS.thickness_m: own.thickness_m,
                AREA_DEPTHS.sigma_thickness_m: own.sigma_thickness_m,
                AREA_DEPTHS.shallow_cells: json.dumps([astuple(cell) for cell in own.shallow]),
            },
        )
        for area_id, own in depths.items()
    ]
    return layer_of(AREA_DEPTHS, rows)


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
                BRIDGED.item_id: item.item_id,
                BRIDGED.level: area.level,
                BRIDGED.surface: area.surface,
                BRIDGED.length_m: length_in_space_m(stretch),
                BRIDGED.depth_min_m: float(stretch[:, 2].min()),
                BRIDGED.depth_max_m: float(stretch[:, 2].max()),
                BRIDGED.sigma_depth_m: item.sigma_depth_m,
            }
            rows.append((stretch * [1.0, 1.0, -1.0], values))
    return layer_of(BRIDGED, rows)


def mat_layer(mats: Iterable[PlaneMat]) -> Layer:
    """`mats`, one row a family of bars."""
    rows = []
    for one in mats:
        values = {name: getattr(one.mat, name) for name, kind in MATS.columns.items() if kind is float}
        values.update(mat_id=one.mat_id, level=one.level, surface=one.surface, bar_count=len(one.mat.item_ids))
        values.update(area_ids=",".join(one.mat.area_ids), item_ids=",".join(one.mat.item_ids))
        rows.append((None, values))
    return layer_of(MATS, rows)
