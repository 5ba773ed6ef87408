"""The layers of survey.gpkg on what is cast in: `picks` and `items`, and what each area for itself shows of them."""

import json
from dataclasses import astuple
from types import MappingProxyType
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..floor.bridged import find_bridged
from ..floor.edited_rows import COMPUTED
from ..floor.mats import PlaneMat
from ..floor.placing import sigma_of_pick
from ..items.model import KINDS, Item, Pick
from ..radar.model import AreaDepths
from ..site.frame import AreaFit
from ..survey.model import ScanArea
from .geopackage import as_json
from .layer import Layer, RowsOf
from .layers import PLANE

PICK_FIELDS = {
    **dict.fromkeys(("pick_id", "item_id", "area_item_id", "area_id", "line_id", "level", "surface"), str),
    **dict.fromkeys(("depth_m", "sigma_xy_m", "sigma_along_m", "sigma_depth_m"), float),
    "polarity": int,
    **dict.fromkeys(("strength_db", "polarization_ratio_db", "local_x_m", "local_y_m"), float),
    "source": str,
}
ITEM_FIELDS = {
    **dict.fromkeys(("item_id", "kind"), str),
    **dict.fromkeys(
        ("kind_confidence", "confidence", "depth_min_m", "depth_max_m", "sigma_xy_m", "sigma_depth_m"), float
    ),
    "pick_count": int,
    **dict.fromkeys(("area_ids", "level", "surface", "status", "source"), str),
    **dict.fromkeys((f"p_{kind}" for kind in KINDS), float),
    "length_m": float,
    **dict.fromkeys(("other_face_min_m", "other_face_max_m", "sigma_other_face_m"), float),
    "reasons": str,
    "flag": str,
    "local_geometry": str,
}


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
        values = {name: getattr(pick, name) for name in PICK_FIELDS if hasattr(pick, name)}
        values.update(source=COMPUTED, level=area.level, surface=area.surface, local_x_m=pick.x_m, local_y_m=pick.y_m)
        values.update(sigma_xy_m=sigma_of_pick(pick, fits), area_item_id=pick.item_id)
        values.update(item_id=joined_as.get(pick.item_id, pick.item_id))
        here = (*fit.to_site([[pick.x_m, pick.y_m]])[0], -pick.depth_m) if fit.is_fitted else None
        return here, values

    rows = RowsOf([*picks, *drawn], row_of)
    fields = {**PICK_FIELDS, **_further(PICK_FIELDS, [values for _, values in drawn])}
    return Layer("picks", "PointZ", fields, rows, tr("Where an item was seen on one line. ") + PLANE + cautions.SHORT)


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
        values = {name: getattr(item, name) for name in ITEM_FIELDS if hasattr(item, name)}
        values.update({f"p_{kind}": item.kind_probabilities.get(kind, 0.0) for kind in KINDS})
        values.update(
            depth_min_m=item.vertices_m[:, 2].min(),
            depth_max_m=item.vertices_m[:, 2].max(),
            area_ids=",".join(item.area_ids),
            level=area.level,
            surface=area.surface,
            status="detected",
            source=COMPUTED,
            flag=item.flag or None,
            length_m=np.sum(np.linalg.norm(np.diff(item.vertices_m, axis=0), axis=1)),
            **_from_other_face(item, area, depths),
        )
        values.update(by_hand.get(item.item_id, {}))
        if not fits[area.area_id].is_fitted:
            points = ", ".join(" ".join(f"{number:.4f}" for number in point) for point in line)
            values["local_geometry"], line = f"LINESTRING Z ({points})", None
        rows.append((line, values))
    fields = {**ITEM_FIELDS, **_further(ITEM_FIELDS, by_hand.values())}
    return Layer(
        "items",
        "LineStringZ",
        fields,
        rows,
        tr("Items found; Z is minus the depth to the top. ") + PLANE + cautions.SHORT,
    )


def _further(fields: Mapping[str, type], rows: Iterable[Mapping]) -> Dict[str, type]:
    """Columns that a surveyor added, and their types."""
    found: Dict[str, type] = {}
    for values in rows:
        for name, value in values.items():
            if name not in fields and value is not None:
                found.setdefault(name, type(value) if type(value) in (str, int, float, bool) else str)
    return found


def _from_other_face(item: Item, area: ScanArea, depths: Mapping[str, AreaDepths]) -> Dict[str, float]:
    known = [depths[area_id] for area_id in item.area_ids if area_id in depths and depths[area_id].thickness_m]
    if area.surface == "wall" or not known:
        return {}
    slab = min(known, key=lambda one: one.sigma_thickness_m)
    from_face = slab.thickness_m - item.vertices_m[:, 2]
    return {
        "other_face_min_m": from_face.min(),
        "other_face_max_m": from_face.max(),
        "sigma_other_face_m": float(np.hypot(slab.sigma_thickness_m, item.sigma_depth_m)),
    }


def area_item_layer(items: Iterable[Item]) -> Layer:
    """`area_items`: what each area for itself shows, in its local grid, from which items are placed and joined."""
    fields = {
        **dict.fromkeys(("item_id", "area_id"), str),
        **dict.fromkeys(("confidence", "sigma_xy_m", "sigma_depth_m"), float),
        "pick_count": int,
        **dict.fromkeys(("reasons", "kind_probabilities", "vertices_m"), str),
    }
    rows = []
    for item in items:
        values = {name: getattr(item, name) for name in fields if hasattr(item, name)}
        values.update(area_id=item.area_ids[0], kind_probabilities=as_json(item.kind_probabilities))
        values.update(vertices_m=json.dumps(item.vertices_m.tolist()))
        rows.append((None, values))
    text = tr("Items of each area before they were joined; vertices are local x, y and depth, metres.")
    return Layer("area_items", None, fields, rows, text)


def area_depth_layer(depths: Mapping[str, AreaDepths]) -> Layer:
    """`area_depths`: what the echoes of each area say of the slab."""
    numbers = ("reliable_m", "thickness_m", "sigma_thickness_m")
    fields = {"area_id": str, **dict.fromkeys(numbers, float), "shallow_cells": str}
    rows = [
        (
            None,
            {
                "area_id": area_id,
                **{name: getattr(own, name) for name in numbers},
                "shallow_cells": json.dumps([astuple(cell) for cell in own.shallow]),
            },
        )
        for area_id, own in depths.items()
    ]
    text = tr("Depth to which each area counts as scanned, and slab thickness where it is known.")
    return Layer("area_depths", None, fields, rows, text)


_BRIDGED_FIELDS = {
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
    return Layer("bridged", "LineStringZ", _BRIDGED_FIELDS, rows, words + cautions.SHORT)


MATS_TEXT = tr(
    "Families of at least three parallel bars. Spacing is measured between the bars' lines every 50 mm along "
    "the mat, a lap counting as one bar. Cover is the depth from the scanned surface to the top of the bars, "
    "every 50 mm along each: mean, least, and what 5 % of the bars' length falls below. Bars that were not "
    "found are missing here too."
)


_MAT_NUMBERS = (
    *("direction_deg", "spacing_mean_m", "spacing_min_m", "spacing_max_m", "sigma_spacing_m"),
    *("cover_mean_m", "cover_min_m", "cover_q05_m", "sigma_cover_m", "length_m"),
)


def mat_layer(mats: Iterable[PlaneMat]) -> Layer:
    """`mats`, one row a family of bars."""
    fields = {
        **dict.fromkeys(("mat_id", "level", "surface", "area_ids"), str),
        "bar_count": int,
        **dict.fromkeys(_MAT_NUMBERS, float),
        "item_ids": str,
    }
    rows = []
    for one in mats:
        values = {name: getattr(one.mat, name) for name in _MAT_NUMBERS}
        values.update(mat_id=one.mat_id, level=one.level, surface=one.surface, bar_count=len(one.mat.item_ids))
        values.update(area_ids=",".join(one.mat.area_ids), item_ids=",".join(one.mat.item_ids))
        rows.append((None, values))
    return Layer("mats", None, fields, rows, MATS_TEXT)
