"""Layers on how well areas fit: ties and other observations, error ellipses, seams."""

from typing import Iterable, List, Mapping

import numpy as np

from ..common.vocabulary.surfaces import TOP, is_elevation
from ..floor.coverage import outline
from ..floor.overlaps import Seam
from ..floor.placing import plane_of
from ..site.frame import AreaFit
from ..site.observations import Observations, Tie
from ..site.results import SiteFit
from ..site.statistics import ellipse
from ..site.walls import WallLine
from ..survey.model import ScanArea
from .layer import Layer, layer_of
from .schema import ERROR_ELLIPSES, SEAMS, TIES, WALLS
from .schema_fit import ENLARGEMENT


def fit_layers(
    areas: Mapping[str, ScanArea], site_fit: SiteFit, observations: Observations, seams: Iterable[Seam]
) -> List[Layer]:
    """`ties`, `error_ellipses`, `seams` and `walls`."""
    return [
        _ties(areas, site_fit, observations),
        _ellipses(areas, site_fit.fits),
        seam_layer(areas, seams),
        _walls(areas, site_fit.fits, observations.walls),
    ]


def _ties(areas: Mapping[str, ScanArea], site_fit: SiteFit, observations: Observations) -> Layer:
    ties = {(tie.tie_id, tie.area_ids): tie for tie in observations.ties}
    rows = []
    for found in site_fit.observations:
        if found.kind == "control point":
            continue
        tie = ties.get((found.name, found.area_ids)) if "tie" in found.kind else None
        level, surface = plane_of(areas[found.area_ids[0]])
        ratio = np.append(np.abs(found.standardized), 0.0)
        values = {
            TIES.tie_id: found.name,
            TIES.kind: found.kind,
            TIES.source: "survey" if tie is None else tie.source,
            TIES.area_id: found.area_ids[0],
            TIES.area_id_b: found.area_ids[1] if len(found.area_ids) > 1 else None,
            TIES.level: level,
            TIES.surface: surface,
            TIES.unit: "rad" if found.kind == "direction" else "m",
            TIES.residual: found.residual[0],
            TIES.residual_y: found.residual[1] if len(found.residual) > 1 else None,
            TIES.sigma: found.sigma[0],
            TIES.standardized: np.nanmax(ratio),
            TIES.redundancy: found.redundancy.min(),
            TIES.detectable: found.detectable.max(),
            TIES.used: found.used,
        }
        rows.append((None if tie is None else _middle(tie, site_fit.fits), values))
    return layer_of(TIES, rows)


def _middle(tie: Tie, fits: Mapping[str, AreaFit]):
    return np.mean([fits[area_id].to_site([local])[0] for area_id, local in zip(tie.area_ids, tie.local_m)], axis=0)


def _ellipses(areas: Mapping[str, ScanArea], fits: Mapping[str, AreaFit]) -> Layer:
    rows = []
    turn = np.linspace(0.0, 2.0 * np.pi, 37)
    for area_id, area in areas.items():
        fit, ring = fits[area_id], outline(area)
        if not fit.is_fitted:
            continue
        corners = np.vstack([line.trace_positions_m()[[0, -1]] for line in area.lines]) if ring is None else ring[:-1]
        places = np.vstack([_spread_out(corners), fit.centroid_m])
        for place, covariance, sigma in zip(places, fit.covariance_at(places), fit.sigma_at(places)):
            major, minor, direction = ellipse(covariance)
            along = np.array([np.cos(direction), np.sin(direction)])
            circle = np.outer(np.cos(turn) * major, along) + np.outer(np.sin(turn) * minor, [-along[1], along[0]])
            circle[-1] = circle[0]
            values = {
                ERROR_ELLIPSES.area_id: area_id,
                ERROR_ELLIPSES.level: plane_of(area)[0],
                ERROR_ELLIPSES.surface: area.surface,
            }
            values.update(semi_major_m=major, semi_minor_m=minor, direction_deg=np.degrees(direction))
            values.update(sigma_xy_m=sigma, enlargement=ENLARGEMENT)
            rows.append(([fit.to_site([place])[0] + ENLARGEMENT * circle], values))
    return layer_of(ERROR_ELLIPSES, rows)


def _spread_out(corners: np.ndarray) -> np.ndarray:
    """At most four corners, as far apart as they can be."""
    chosen = [int(np.argmin(corners.sum(axis=1)))]
    while len(chosen) < min(4, len(corners)):
        distance = np.min(np.linalg.norm(corners[:, None] - corners[chosen], axis=2), axis=1)
        chosen.append(int(np.argmax(distance)))
    return corners[chosen]


def seam_layer(areas: Mapping[str, ScanArea], seams: Iterable[Seam]) -> Layer:
    """`seams`: each item that two areas see, and how far apart they put it."""
    rows = []
    for seam in seams:
        a, b = seam.pieces
        level, surface = plane_of(areas[a.area_id])
        values = {
            SEAMS.area_id: a.area_id,
            SEAMS.area_id_b: b.area_id,
            SEAMS.item_id: a.item_id,
            SEAMS.item_id_b: b.item_id,
        }
        values.update(level=level, surface=surface, lateral_m=seam.lateral_m, depth_offset_m=seam.depth_m)
        values.update(sigma_lateral_m=seam.sigma_lateral_m, sigma_depth_m=seam.sigma_depth_m, agrees=seam.agrees)
        values.update(lateral_ratio=seam.lateral_ratio, depth_ratio=seam.depth_ratio)
        rows.append((seam.stretch_m, values))
    return layer_of(SEAMS, rows)


def _walls(areas: Mapping[str, ScanArea], fits: Mapping[str, AreaFit], walls: Iterable[WallLine]) -> Layer:
    rows = []
    for line in walls:
        # Drawn with the plan, so it belongs to the level as seen from above.
        values = {WALLS.level: line.level, WALLS.surface: TOP, WALLS.wall: line.wall, WALLS.elevation: line.elevation}
        rows.append((np.array([line.start_m, line.end_m]), values))
        for area_id, area in areas.items():
            if is_elevation(area.surface) and area.level == line.elevation and fits[area_id].is_fitted:
                ends = np.vstack([scan.trace_positions_m()[[0, -1]] for scan in area.lines])
                (along, low), (along_end, high) = (f(fits[area_id].to_site(ends), axis=0) for f in (np.min, np.max))
                limits = {
                    WALLS.along_min_m: along,
                    WALLS.along_max_m: along_end,
                    WALLS.height_min_m: low,
                    WALLS.height_max_m: high,
                }
                rows.append((line.to_plan([along, along_end]), {**values, WALLS.area_id: area_id, **limits}))
    return layer_of(WALLS, rows)
