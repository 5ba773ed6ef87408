"""A surveyor's rows of `items` and `picks` as a run takes them over: open values are filled in, places follow the areas."""

import re
from dataclasses import dataclass, field
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.kinds import KINDS, UNKNOWN_KIND
from ..common.vocabulary.statuses import DETECTED
from ..common.vocabulary.surfaces import SURFACES
from ..floor.edited_rows import SURVEYOR, Drawn
from ..floor.placing import plane_of
from ..geometry.polylines import stations_m
from ..items.model import Item
from ..site.frame import AreaFit
from ..store.schema import ITEMS, PICKS
from ..survey.model import ScanArea

# 1-sigma in plan and in depth of what is drawn without one (common practice, no source).
HAND_SIGMA_M = 0.010
MOVED_M = 1e-4


@dataclass(frozen=True)
class Places:
    """Where areas lay when rows were drawn, and where they lie now."""

    areas: Mapping[str, ScanArea]
    then: Mapping[str, AreaFit]
    now: Mapping[str, AreaFit]

    def had(self, area_id: str, placed: bool) -> bool:
        """Is this an area of the survey that had (`placed`), or did not have, a position?"""
        return area_id in self.areas and area_id in self.then and self.then[area_id].is_fitted == placed

    def carried(self, points_m: np.ndarray, area_id: str) -> np.ndarray:
        """Points (n, 2 or more columns), in the site grid or in the local one of an area without position, where they lie now."""
        then, now = self.then.get(area_id), self.now[area_id]
        if then is None or (_placing(then) == _placing(now)):
            return points_m
        plan = then.to_local(points_m[:, :2]) if then.is_fitted else points_m[:, :2]
        plan = now.to_site(plan) if now.is_fitted else plan
        return np.column_stack([plan, points_m[:, 2:]])

    def local(self, points_m: np.ndarray, area_id: str) -> np.ndarray:
        """Local coordinates of points drawn in the site grid."""
        return self.then[area_id].to_local(points_m[:, :2])

    def areas_at(self, points_m: np.ndarray, plane: Tuple) -> List[str]:
        """Areas of one plane whose lines have a point among them, the one they fit best first; the nearest one without any.

        `plane` is level and surface; one that is None leaves that open, and then plans come before soffits and walls.
        """
        found = []
        for area_id, area in self.areas.items():
            wanted = plane[0] in (None, "", area.level) and plane[1] in (None, "", area.surface)
            if wanted and self.had(area_id, True):
                ends = np.vstack([line.trace_positions_m()[[0, -1]] for line in area.lines])
                local = self.local(points_m, area_id)
                away = np.hypot(*(local - np.clip(local, ends.min(axis=0), ends.max(axis=0))).T)
                holds = bool(np.any(away == 0))
                found.append((not holds, list(SURFACES).index(area.surface), float(away.mean()), len(found), area_id))
        found.sort()
        ids = [area_id for outside, _, _, _, area_id in found if not outside]
        ids = [area_id for area_id in ids if plane_of(self.areas[area_id]) == plane_of(self.areas[ids[0]])]
        return ids or [found[0][-1]] if found else []


@dataclass
class Taken:
    """One item taken over, the columns that are not those of an `Item`, and what needs a look."""

    item: Item
    columns: Dict[str, object]
    warnings: List[str] = field(default_factory=list)


def take_item(drawn: Drawn, item_id: str, places: Places, known_columns: Sequence[str]) -> Optional[Taken]:
    """The surveyor's row as an `Item` where it lies now; None where it has no line, or no area to belong to."""
    values = drawn.values
    line = _line_of(drawn)
    if line is None or len(line) < 2:
        return None
    placed = drawn.position is not None
    area_ids = [name for name in (values.get(ITEMS.area_ids) or "").split(",") if places.had(name, placed)]
    if placed and not area_ids:
        area_ids = places.areas_at(line, (values.get(ITEMS.level), values.get(ITEMS.surface)))
    if not area_ids:
        return None
    warnings = []
    depth, half_range = _depths(drawn, line)
    if depth is None:
        depth = np.zeros(len(line))
        warnings.append(
            tr(
                "it has no depth, so it counts as lying at the surface, in the way of every hole; enter depth_min_m "
                "and depth_max_m."
            )
        )
    kind = values.get(ITEMS.kind)
    if kind not in KINDS:
        warnings.append(
            tr(
                "its kind '{value}' is not one of {kinds}; it counts as unknown.",
                value=kind or "",
                kinds=", ".join(KINDS),
            )
        )
        kind = UNKNOWN_KIND
    probabilities = {name: values.get(f"p_{name}") or 0.0 for name in KINDS}
    if max(probabilities, key=probabilities.get) != kind or not 0.99 < sum(probabilities.values()) < 1.01:
        probabilities = {name: float(name == kind) for name in KINDS}
    sigma_xy, sigma_depth = (
        HAND_SIGMA_M if values.get(name) is None else float(values[name])
        for name in (ITEMS.sigma_xy_m, ITEMS.sigma_depth_m)
    )
    confidence = values.get(ITEMS.confidence)
    item = Item(
        item_id,
        tuple(area_ids),
        places.carried(np.column_stack([line[:, :2], depth]), area_ids[0]),
        probabilities,
        1.0 if confidence is None else float(confidence),
        sigma_xy,
        max(sigma_depth, half_range),
        int(values.get(ITEMS.pick_count) or 0),
        values.get(ITEMS.reasons) or tr("Drawn by the surveyor."),
        values.get(ITEMS.flag) or "",
    )
    columns = {name: value for name, value in values.items() if name not in known_columns and value is not None}
    columns.update(source=SURVEYOR, status=values.get(ITEMS.status) or DETECTED)
    return Taken(item, columns, warnings)


def take_pick(drawn: Drawn, pick_id: str, places: Places, item_ids: Sequence[str]) -> Optional[Tuple[object, Dict]]:
    """The surveyor's row of `picks` where it lies now, as (coordinates, values); None where it has no place."""
    values, before = dict(drawn.values), drawn.before
    depth = values.get(PICKS.depth_m)
    area_id = values.get(PICKS.area_id) if values.get(PICKS.area_id) in places.areas else None
    if drawn.position is not None:
        point = np.asarray(drawn.position, float)[None]
        area_id = area_id or next(
            iter(places.areas_at(point, (values.get(PICKS.level), values.get(PICKS.surface)))), None
        )
        if area_id is None or not places.then[area_id].is_fitted:
            return None
        x, y = places.local(point, area_id)[0]
        height = -point[0, 2] if point.shape[1] > 2 and np.isfinite(point[0, 2]) else 0.0
        # Drawn flat, or only the number changed: the number counts; otherwise the point's own height.
        if depth is None or (before is not None and abs(height - before.vertices_m[0, 2]) > MOVED_M):
            depth = height
    elif area_id is not None and values.get(PICKS.local_x_m) is not None and values.get(PICKS.local_y_m) is not None:
        x, y = values[PICKS.local_x_m], values[PICKS.local_y_m]
    else:
        return None
    depth = float(depth or 0.0)
    area, now = places.areas[area_id], places.now[area_id]
    values.update(pick_id=pick_id, area_id=area_id, level=area.level, surface=area.surface, source=SURVEYOR)
    values.update(local_x_m=float(x), local_y_m=float(y), depth_m=depth)
    for name in (PICKS.sigma_along_m, PICKS.sigma_depth_m):
        if values.get(name) is None:
            values[name] = HAND_SIGMA_M
    if values.get(PICKS.item_id) not in item_ids:
        values[PICKS.item_id] = None
    if not now.is_fitted:
        return None, {**values, PICKS.sigma_xy_m: None}
    values[PICKS.sigma_xy_m] = float(np.hypot(values[PICKS.sigma_along_m], now.sigma_at([[x, y]])[0]))
    return (*now.to_site([[x, y]])[0], -depth), values


def _placing(fit: AreaFit) -> Tuple:
    if not fit.is_fitted:
        return ()
    return (fit.rotation_rad, *fit.shift_m.tolist(), fit.mirrored, fit.scale)


def _line_of(drawn: Drawn) -> Optional[np.ndarray]:
    """Vertices as they were drawn, with their heights (NaN without), shape (n, 3)."""
    if drawn.position is not None:
        line = np.asarray(drawn.position, float)
        return line if line.shape[1] == 3 else np.column_stack([line, np.full(len(line), np.nan)])
    text = drawn.values.get(ITEMS.local_geometry) or ""
    numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", text)]
    return np.reshape(numbers, (-1, 3)) if numbers and len(numbers) % 3 == 0 else None


def _depths(drawn: Drawn, line: np.ndarray) -> Tuple[Optional[np.ndarray], float]:
    """Depth of each vertex, None where none is given, and what must be added to its sigma (metres).

    Heights of the vertices count, unless only the two depths in the table were changed. A vertex drawn without a height lies
    where its neighbours put it.
    """
    stated = [drawn.values.get(name) for name in (ITEMS.depth_min_m, ITEMS.depth_max_m)]
    stated = [float(value) for value in stated if value is not None]
    depth = -line[:, 2]
    has_height = np.isfinite(depth) & (depth > 0)
    if not has_height.any():
        if not stated:
            return None, 0.0
        # Which end lies deeper is not known.
        return np.full(len(line), float(np.mean(stated))), (max(stated) - min(stated)) / 2
    along = stations_m(line)
    depth = np.interp(along, along[has_height], depth[has_height])
    if drawn.before is not None and len(stated) == 2:
        was = drawn.before.vertices_m[:, 2]
        was, now = np.array([was.min(), was.max()]), np.array([depth.min(), depth.max()])
        if np.abs(now - was).max() <= MOVED_M < np.abs(stated - was).max():
            if was[1] - was[0] <= MOVED_M:
                return np.full(len(line), float(np.mean(stated))), (max(stated) - min(stated)) / 2
            return np.interp(depth, now, sorted(stated)), 0.0
    return depth, 0.0
