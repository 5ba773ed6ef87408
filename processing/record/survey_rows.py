"""A processed survey as a record takes it: rows of the record's tables, and each sigma split into what is an item's own and what it
shares with others of its area.
"""

import json
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..edits.hand_edits import identity
from ..radar.model import WaveSpeed
from ..site.frame import AreaFit
from ..store import reading
from ..store.geopackage import as_json, check_layers, read_layer, read_metadata
from ..store.layers import software_version
from ..store.schema import (
    AREA_DEPTHS,
    CONTROL_POINTS,
    COVERAGE,
    DISMISSED,
    ITEMS,
    MATS,
    PENETRATION_VERDICTS,
    SCAN_AREAS,
    SEAMS,
    SURVEY_FOLDER_KEY,
    WAVE_SPEEDS,
)
from .merging import SurveyContent
from .schema import GEOMETRY, OBSERVATIONS, PENETRATIONS

# Nothing is known better than this: a sigma's own part stays above zero, metres.
LEAST_M = 0.0005


def read_content(survey_path, penetrations_path=None, checked_on: str = "") -> SurveyContent:
    """All that a record takes of the survey in `survey_path`, and of checked penetrations in another GeoPackage.

    Raises `SurveyError` if it is no GeoPackage, `ProcessingError` where items were not detected yet.
    """
    path = Path(survey_path)
    tables = (SCAN_AREAS, ITEMS, COVERAGE, MATS, SEAMS, DISMISSED)
    rows = {table.name: read_layer(path, table.name) for table in tables}
    if not rows[SCAN_AREAS.name] or not read_layer(path, AREA_DEPTHS.name):
        raise ProcessingError(
            tr("{path} has no items yet; run 'Detect items' or 'Process a survey' first.", path=str(survey_path))
        )
    # A layer that is missing would count as one that holds nothing, and items in the record as not seen any more.
    check_layers(path, (*tables, CONTROL_POINTS, WAVE_SPEEDS))
    places, speeds = reading.read_places(path), reading.read_wave_speeds(path)
    dates = {row[SCAN_AREAS.area_id]: row[SCAN_AREAS.scanned_on] for _, row in rows[SCAN_AREAS.name]}
    own = {
        SCAN_AREAS.name: _areas(path, rows[SCAN_AREAS.name], speeds),
        COVERAGE.name: [
            {
                **row,
                GEOMETRY: place,
                "survey_depth_m": row[COVERAGE.depth_m],
                SCAN_AREAS.scanned_on: dates[row[COVERAGE.area_id]],
            }
            for place, row in rows[COVERAGE.name]
        ],
        MATS.name: [_mat(row) for _, row in rows[MATS.name]],
        SEAMS.name: [{**row, GEOMETRY: place} for place, row in rows[SEAMS.name]],
        "set_aside": [row for _, row in rows[DISMISSED.name]],
    }
    observations = [_observation(place, row, places, speeds, dates) for place, row in rows[ITEMS.name]]
    return SurveyContent(
        reading.read_crs_wkt(path),
        identity(row for _, row in rows[SCAN_AREAS.name]),
        _survey(path, rows[SCAN_AREAS.name]),
        own,
        observations,
        _penetrations(penetrations_path, checked_on, rows[SCAN_AREAS.name]) if penetrations_path else (),
    )


def latest_scan(content: SurveyContent) -> str:
    """Date of the latest scan of a survey; empty where it states none."""
    return content.survey["scanned_to"] or ""


def _survey(path: Path, areas: Sequence) -> Dict[str, object]:
    dates = sorted(row[SCAN_AREAS.scanned_on] for _, row in areas if row[SCAN_AREAS.scanned_on])
    people = sorted({row[SCAN_AREAS.scanned_by] for _, row in areas if row[SCAN_AREAS.scanned_by]})
    return {
        "source_file": path.resolve().as_posix(),
        "survey_folder": read_metadata(path, SURVEY_FOLDER_KEY),
        "scanned_from": dates[0] if dates else None,
        "scanned_to": dates[-1] if dates else None,
        "scanned_by": ", ".join(people),
        "software_version": software_version(),
    }


def _areas(path: Path, areas: Sequence, speeds: Mapping[str, WaveSpeed]) -> List[Dict]:
    points: Dict[str, List] = {}
    for _, row in read_layer(path, CONTROL_POINTS.name):
        if row[CONTROL_POINTS.used] and row[CONTROL_POINTS.site_x_m] is not None:
            points.setdefault(row[CONTROL_POINTS.area_id], []).append(
                [row[CONTROL_POINTS.site_x_m], row[CONTROL_POINTS.site_y_m]]
            )
    depths = reading.read_area_depths(path)
    out = []
    for place, row in areas:
        area_id = row[SCAN_AREAS.area_id]
        values = {**row, GEOMETRY: place, "control_points": json.dumps(sorted(points.get(area_id, [])))}
        if area_id in depths:
            values.update(vars(depths[area_id]))
        if area_id in speeds:
            speed = speeds[area_id]
            values.update(
                survey_speed_m_ns=speed.speed_m_ns,
                survey_sigma_m_ns=speed.sigma_m_ns,
                survey_time_zero_ns=speed.time_zero_ns,
                survey_sigma_time_zero_ns=speed.sigma_time_zero_ns,
                survey_correlation=speed.correlation,
                survey_method=speed.method,
            )
        out.append(values)
    return out


def _mat(row: Mapping) -> Dict[str, object]:
    kept = (MATS.mat_id, MATS.level, MATS.surface, MATS.area_ids, MATS.item_ids, MATS.bar_count)
    description = {name: value for name, value in row.items() if name not in kept and value is not None}
    return {**{name: row[name] for name in kept}, "description": as_json(description)}


def _observation(
    place,
    row: Mapping,
    places: Mapping[str, AreaFit],
    speeds: Mapping[str, WaveSpeed],
    dates: Mapping[str, Optional[str]],
) -> Dict[str, object]:
    areas = [name for name in (row[ITEMS.area_ids] or "").split(",") if name in places]
    values = {name: value for name, value in row.items() if name in OBSERVATIONS.columns}
    values.update(survey_item_id=row[ITEMS.item_id], scanned_on=max((dates[name] or "" for name in areas), default=""))
    values[GEOMETRY] = place
    if place is None:
        return values
    fitted = [places[name] for name in areas if places[name].is_fitted]
    of_fit = _root_mean_square([np.sqrt(np.mean(fit.sigma_at(fit.to_local(place[:, :2])) ** 2)) for fit in fitted])
    depth = float(np.mean(-place[:, 2]))
    of_speed = _root_mean_square([float(speeds[name].depth_sigma_m(depth)) for name in areas if name in speeds])
    for total, common, name in ((ITEMS.sigma_xy_m, of_fit, "xy"), (ITEMS.sigma_depth_m, of_speed, "depth")):
        stated = max(row[total], LEAST_M)
        common = min(common, float(np.sqrt(stated**2 - LEAST_M**2)))
        values[f"sigma_own_{name}_m"] = float(np.sqrt(stated**2 - common**2))
        values["sigma_fit_m" if name == "xy" else "sigma_speed_m"] = common
    return values


def _root_mean_square(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else 0.0


def _penetrations(path, checked_on: str, areas: Sequence) -> Tuple[Dict, ...]:
    """Rows of the layer that 'Check penetrations' wrote; level and surface are the survey's where it has one of each only."""
    found = read_layer(path, PENETRATION_VERDICTS.name)
    if not found:
        raise ProcessingError(
            tr(
                "{path} has no layer {layer}: run 'Check penetrations' first.",
                path=str(path),
                layer=PENETRATION_VERDICTS.name,
            )
        )
    planes = {(row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) for _, row in areas}
    level, surface = next(iter(planes)) if len(planes) == 1 else (None, None)
    rows = []
    for place, row in found:
        values = {name: value for name, value in row.items() if name in PENETRATIONS.columns}
        values.update(
            level=values.get(PENETRATIONS.level) or level, surface=values.get(PENETRATIONS.surface) or surface
        )
        rows.append({**values, GEOMETRY: place, "checked_on": checked_on})
    return tuple(rows)
