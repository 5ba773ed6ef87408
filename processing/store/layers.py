"""The rows of survey.gpkg from what the steps found; which layers and columns there are, `schema` says.

Coordinates are those of the site grid, metres; Z is minus the depth. What has no position gets no geometry, never a made-up one.
"""

import os
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..floor.coverage import Coverage, outline
from ..floor.result import RasterFile
from ..radar.model import WaveSpeed
from ..site.frame import AreaFit
from ..speed.moisture import moisture_words
from ..survey.model import Finding, ScanArea, Survey
from .geopackage import as_json
from .layer import Layer, layer_of
from .schema import (
    CONTROL_POINTS,
    COVERAGE,
    CRS_KEY,
    FINDINGS,
    RASTERS,
    RELATIVE_FOLDER_KEY,
    RUN_LOG,
    SAMPLE_INTERVAL_KEY,
    SCAN_AREAS,
    SCAN_LINES,
    SCHEMA_VERSION,
    SCHEMA_VERSION_KEY,
    SURVEY_FOLDER_KEY,
    WAVE_SPEED_ECHOES,
    WAVE_SPEED_REGIONS,
    WAVE_SPEEDS,
)


def software_version() -> str:
    """The version in the plugin's metadata.txt."""
    text = (Path(__file__).parents[2] / "metadata.txt").read_text(encoding="utf-8")
    return next(line.split("=", 1)[1].strip() for line in text.splitlines() if line.startswith("version="))


def survey_metadata(survey: Survey, survey_path, sample_interval_ns, crs_wkt: str) -> Dict[str, str]:
    """What survey.gpkg must remember so that its traces can be read again, also after both were moved together."""
    folder = Path(survey.folder).resolve()
    metadata = {
        SCHEMA_VERSION_KEY: str(SCHEMA_VERSION),
        SURVEY_FOLDER_KEY: folder.as_posix(),
        CRS_KEY: crs_wkt,
    }
    try:
        metadata[RELATIVE_FOLDER_KEY] = Path(os.path.relpath(folder, Path(survey_path).resolve().parent)).as_posix()
    except ValueError:
        pass  # on another drive there is no relative path
    if sample_interval_ns:
        metadata[SAMPLE_INTERVAL_KEY] = repr(float(sample_interval_ns))
    return metadata


def survey_layers(survey: Survey, fits: Mapping[str, AreaFit]) -> List[Layer]:
    """`scan_areas`, `scan_lines` and `control_points`."""
    return [_areas(survey, fits), _lines(survey, fits), _control_points(survey, fits)]


def _areas(survey: Survey, fits: Mapping[str, AreaFit]) -> Layer:
    rows = []
    for area in survey.areas:
        fit = fits[area.area_id]
        values = {name: getattr(area, name) for name in SCAN_AREAS.columns if hasattr(area, name)}
        values.update(
            status=fit.status,
            line_count=len(area.lines),
            points_used=sum(point.used for point in fit.points),
            further_columns=as_json(area.extra) if area.extra else None,
        )
        ring = None
        if fit.is_fitted:
            ring = outline(area)
            values.update({name: getattr(fit, name) for name in SCAN_AREAS.columns if hasattr(fit, name)})
            values.update(rotation_deg=np.degrees(fit.rotation_rad), shift_x_m=fit.shift_m[0], shift_y_m=fit.shift_m[1])
            values.update(fit=exact_fit(fit))
        rows.append(([fit.to_site(ring)] if ring is not None else None, values))
    return layer_of(SCAN_AREAS, rows)


def _lines(survey: Survey, fits: Mapping[str, AreaFit]) -> Layer:
    rows = []
    for area in survey.areas:
        fit = fits[area.area_id]
        for line in area.lines:
            values = {name: getattr(line, name) for name in SCAN_LINES.columns if hasattr(line, name)}
            values.update(
                level=area.level,
                surface=area.surface,
                file=_relative(line.path, survey.folder),
                start_x_m=line.start_m[0],
                start_y_m=line.start_m[1],
                end_x_m=line.end_m[0],
                end_y_m=line.end_m[1],
                further_columns=as_json(line.extra) if line.extra else None,
            )
            path = np.array([line.start_m, line.end_m]) if line.positions_m is None else line.positions_m
            rows.append((fit.to_site(path) if fit.is_fitted else None, values))
    return layer_of(SCAN_LINES, rows)


def _control_points(survey: Survey, fits: Mapping[str, AreaFit]) -> Layer:
    rows = []
    for area in survey.areas:
        for point, found in zip(area.control_points, fits[area.area_id].points):
            values = {
                CONTROL_POINTS.area_id: area.area_id,
                CONTROL_POINTS.point_id: point.point_id,
                CONTROL_POINTS.local_x_m: point.local_m[0],
                CONTROL_POINTS.local_y_m: point.local_m[1],
                CONTROL_POINTS.site_x_m: point.site_m[0],
                CONTROL_POINTS.site_y_m: point.site_m[1],
                CONTROL_POINTS.sigma_m: point.sigma_m,
                CONTROL_POINTS.local_sigma_m: point.local_sigma_m,
                CONTROL_POINTS.used: found.used,
                CONTROL_POINTS.standardized: found.standardized,
            }
            if found.residual_m is not None:
                for name in ("residual", "redundancy", "detectable"):
                    unit = "" if name == "redundancy" else "_m"
                    both = getattr(found, name + unit)
                    values.update({f"{name}_x{unit}": both[0], f"{name}_y{unit}": both[1]})
            rows.append((point.site_m if np.isfinite(point.site_m).all() else None, values))
    return layer_of(CONTROL_POINTS, rows)


def exact_fit(fit: AreaFit) -> str:
    """All of a fit that places something, to the last digit, as JSON."""
    values = {
        "rotation_rad": float(fit.rotation_rad),
        "shift_m": fit.shift_m.tolist(),
        "centroid_m": fit.centroid_m.tolist(),
        "covariance": fit.covariance.tolist(),
        "scale": float(fit.scale),
    }
    return as_json(values)


def wave_speed_layer(wave_speeds: Mapping[str, WaveSpeed]) -> Layer:
    """`wave_speeds`, one row an area."""
    rows = []
    for speed in wave_speeds.values():
        values = {name: getattr(speed, name) for name in WAVE_SPEEDS.columns if hasattr(speed, name)}
        values.update(moisture=moisture_words(speed.relative_permittivity), warnings="\n".join(speed.warnings))
        rows.append((None, values))
    return layer_of(WAVE_SPEEDS, rows)


def speed_evidence(wave_speeds: Mapping[str, WaveSpeed]) -> List[Layer]:
    """What the wave speeds rest on, echo by echo, and how they differ within areas."""
    return [speed_echo_layer(wave_speeds), speed_region_layer(wave_speeds)]


def speed_echo_layer(wave_speeds: Mapping[str, WaveSpeed]) -> Layer:
    """`wave_speed_echoes`: the bar echoes looked at for the wave speeds, which were used, and why the others were not."""
    rows = [
        (
            None,
            {
                WAVE_SPEED_ECHOES.area_id: speed.area_id,
                WAVE_SPEED_ECHOES.echo: echo.name,
                WAVE_SPEED_ECHOES.depth_m: echo.depth_m,
                WAVE_SPEED_ECHOES.used: int(echo.used),
                WAVE_SPEED_ECHOES.speed_m_ns: None if echo.speed_m_ns != echo.speed_m_ns else echo.speed_m_ns,
                WAVE_SPEED_ECHOES.reason: echo.reason,
            },
        )
        for speed in wave_speeds.values()
        for echo in speed.echoes
    ]
    return layer_of(WAVE_SPEED_ECHOES, rows)


def speed_region_layer(wave_speeds: Mapping[str, WaveSpeed]) -> Layer:
    """`wave_speed_regions`: wave speeds of halves of areas, where enough bars and lines tell them."""
    rows = [
        (None, dict(zip(WAVE_SPEED_REGIONS.columns, (speed.area_id, one.where, one.speed_m_ns, one.sigma_m_ns))))
        for speed in wave_speeds.values()
        for one in speed.regions
    ]
    return layer_of(WAVE_SPEED_REGIONS, rows)


def coverage_layer(pieces: Iterable[Coverage], areas: Mapping[str, ScanArea], fits: Mapping[str, AreaFit]) -> Layer:
    """`coverage`: everything outside these polygons, or below their depth, is unknown."""
    rows = []
    for piece in pieces:
        area = areas[piece.area_id]
        values = {
            COVERAGE.area_id: piece.area_id,
            COVERAGE.level: area.level,
            COVERAGE.surface: area.surface,
            COVERAGE.depth_m: piece.depth_m,
        }
        values.update(
            line_directions=piece.line_directions, note=piece.note or None, sigma_xy_m=fits[piece.area_id].sigma_xy_m
        )
        rows.append((piece.rings_m, values))
    return layer_of(COVERAGE, rows)


def finding_layer(findings: Iterable[Finding]) -> Layer:
    """`findings`: what was noticed, and what to do about it."""
    rows = [
        (None, {FINDINGS.severity: f.severity, FINDINGS.where_found: f.where, FINDINGS.text: f.text}) for f in findings
    ]
    return layer_of(FINDINGS, rows)


def raster_layer(rasters: Iterable[RasterFile], folder) -> Layer:
    """`rasters`: the GeoTIFFs of the result, with paths relative to `folder`, in which survey.gpkg lies."""
    rows = [
        (None, {**{name: getattr(file, name) for name in RASTERS.columns}, RASTERS.path: _relative(file.path, folder)})
        for file in rasters
    ]
    return layer_of(RASTERS, rows)


def run_log_layer(
    earlier: Sequence[Mapping], steps: Sequence[Tuple[str, Mapping]], inputs: Optional[Mapping[str, str]] = None
) -> Layer:
    """`run_log`: the rows it had, and one for each of `steps` (name and parameters).

    `inputs` are the fingerprints of what they read (`fingerprints.summary`), by which a later change is known.
    """
    rows = [{name: row.get(name) for name in RUN_LOG.columns} for row in earlier]
    for step, parameters in steps:
        values = {
            RUN_LOG.step: step,
            RUN_LOG.parameters: as_json(parameters),
            RUN_LOG.software_version: software_version(),
        }
        if inputs is not None:
            values[RUN_LOG.inputs] = as_json(inputs)
        rows.append({RUN_LOG.step_number: len(rows) + 1, **values})
    return layer_of(RUN_LOG, [(None, row) for row in rows])


def _relative(path, folder) -> str:
    """`path` as seen from `folder`, with slashes; the whole path where there is no relative one."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return Path(path).as_posix()
