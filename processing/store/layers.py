"""The layers of survey.gpkg: which columns they have, and their rows from what the steps found.

Coordinates are those of the site grid, metres; Z is minus the depth. What has no position gets no geometry, never a made-up one.
"""

import os
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..floor.coverage import Coverage, outline
from ..floor.result import RasterFile
from ..radar.model import WaveSpeed
from ..site.frame import AreaFit
from ..speed.moisture import moisture_words
from ..survey.model import Finding, ScanArea, Survey
from .geopackage import as_json
from .layer import Layer

SURVEY_FOLDER_KEY = "INSLAB_SURVEY_FOLDER"
RELATIVE_FOLDER_KEY = "INSLAB_SURVEY_FOLDER_FROM_HERE"
SAMPLE_INTERVAL_KEY = "INSLAB_SAMPLE_INTERVAL_NS"
CRS_KEY = "INSLAB_SITE_GRID_WKT"

PLANE = tr(
    "Depth counts from the scanned surface: a slab's top, its soffit, or a wall (whose coordinates are its elevation). "
)
RUN_LOG_FIELDS = {"step_number": int, "step": str, "parameters": str, "software_version": str, "inputs": str}


def software_version() -> str:
    """The version in the plugin's metadata.txt."""
    text = (Path(__file__).parents[2] / "metadata.txt").read_text(encoding="utf-8")
    return next(line.split("=", 1)[1].strip() for line in text.splitlines() if line.startswith("version="))


def survey_metadata(survey: Survey, survey_path, sample_interval_ns, crs_wkt: str) -> Dict[str, str]:
    """What survey.gpkg must remember so that its traces can be read again, also after both were moved together."""
    folder = Path(survey.folder).resolve()
    metadata = {SURVEY_FOLDER_KEY: folder.as_posix(), CRS_KEY: crs_wkt}
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
    fields = {
        **dict.fromkeys(("area_id", "level", "surface", "status"), str),
        **dict.fromkeys(("rotation_deg", "shift_x_m", "shift_y_m"), float),
        "mirrored": bool,
        "points_used": int,
        **dict.fromkeys(("rms_residual_m", "worst_residual_m", "sigma0", "degrees_of_freedom", "sigma_xy_m"), float),
        "line_count": int,
        **dict.fromkeys(("antenna_separation_m", "centre_frequency_mhz"), float),
        **dict.fromkeys(("scanned_on", "scanned_by", "note", "further_columns", "fit"), str),
    }
    rows = []
    for area in survey.areas:
        fit = fits[area.area_id]
        values = {name: getattr(area, name) for name in fields if hasattr(area, name)}
        values.update(
            status=fit.status,
            line_count=len(area.lines),
            points_used=sum(point.used for point in fit.points),
            further_columns=as_json(area.extra) if area.extra else None,
        )
        ring = None
        if fit.is_fitted:
            ring = outline(area)
            values.update({name: getattr(fit, name) for name in fields if hasattr(fit, name)})
            values.update(rotation_deg=np.degrees(fit.rotation_rad), shift_x_m=fit.shift_m[0], shift_y_m=fit.shift_m[1])
            values.update(fit=exact_fit(fit))
        rows.append(([fit.to_site(ring)] if ring is not None else None, values))
    text = tr("Scan areas and how well their control points fit. An area that is not positioned has no geometry. ")
    return Layer("scan_areas", "Polygon", fields, rows, text + cautions.UNKNOWN)


def _lines(survey: Survey, fits: Mapping[str, AreaFit]) -> Layer:
    fields = {
        **dict.fromkeys(("area_id", "line_id", "dipole_axis", "level", "surface", "file"), str),
        "trace_count": int,
        "sample_count": int,
        "sample_interval_ns": float,
        "length_m": float,
        **dict.fromkeys(("start_x_m", "start_y_m", "end_x_m", "end_y_m"), float),
        "further_columns": str,
    }
    rows = []
    for area in survey.areas:
        fit = fits[area.area_id]
        for line in area.lines:
            values = {name: getattr(line, name) for name in fields if hasattr(line, name)}
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
    return Layer(
        "scan_lines", "LineString", fields, rows, tr("Scan lines; start and end are in the area's local grid.")
    )


def _control_points(survey: Survey, fits: Mapping[str, AreaFit]) -> Layer:
    fields = {
        **dict.fromkeys(("area_id", "point_id"), str),
        **dict.fromkeys(("local_x_m", "local_y_m", "site_x_m", "site_y_m", "sigma_m", "local_sigma_m"), float),
        **dict.fromkeys(("residual_x_m", "residual_y_m", "standardized", "redundancy_x", "redundancy_y"), float),
        **dict.fromkeys(("detectable_x_m", "detectable_y_m"), float),
        "used": bool,
    }
    rows = []
    for area in survey.areas:
        for point, found in zip(area.control_points, fits[area.area_id].points):
            values = {
                "area_id": area.area_id,
                "point_id": point.point_id,
                "local_x_m": point.local_m[0],
                "local_y_m": point.local_m[1],
                "site_x_m": point.site_m[0],
                "site_y_m": point.site_m[1],
                "sigma_m": point.sigma_m,
                "local_sigma_m": point.local_sigma_m,
                "used": found.used,
                "standardized": found.standardized,
            }
            if found.residual_m is not None:
                for name in ("residual", "redundancy", "detectable"):
                    unit = "" if name == "redundancy" else "_m"
                    both = getattr(found, name + unit)
                    values.update({f"{name}_x{unit}": both[0], f"{name}_y{unit}": both[1]})
            rows.append((point.site_m if np.isfinite(point.site_m).all() else None, values))
    text = tr(
        "Control points with their residuals (fitted minus given); 'standardized' is the larger one over its "
        "own sigma, 'detectable' the smallest error that the test finds. One that is not 'used' was left "
        "out; its residual is against what the others say."
    )
    return Layer("control_points", "Point", fields, rows, text)


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
    fields = {
        "area_id": str,
        **dict.fromkeys(
            ("speed_m_ns", "sigma_m_ns", "time_zero_ns", "sigma_time_zero_ns", "relative_permittivity"), float
        ),
        "moisture": str,
        "method": str,
        "correlation": float,
        **dict.fromkeys(("focus_speed_m_ns", "focus_sigma_m_ns", "pulse_phase_rad"), float),
        "warnings": str,
    }
    rows = []
    for speed in wave_speeds.values():
        values = {name: getattr(speed, name) for name in fields if name not in ("moisture", "warnings")}
        words = {"moisture": moisture_words(speed.relative_permittivity), "warnings": "\n".join(speed.warnings)}
        rows.append((None, {**values, **words}))
    return Layer("wave_speeds", None, fields, rows, tr("Wave speed and time zero of each area, with 1-sigma."))


def speed_evidence(wave_speeds: Mapping[str, WaveSpeed]) -> List[Layer]:
    """What the wave speeds rest on, echo by echo, and how they differ within areas."""
    return [speed_echo_layer(wave_speeds), speed_region_layer(wave_speeds)]


def speed_echo_layer(wave_speeds: Mapping[str, WaveSpeed]) -> Layer:
    """`wave_speed_echoes`: the bar echoes looked at for the wave speeds, which were used, and why the others were not."""
    fields = {"area_id": str, "echo": str, "depth_m": float, "used": int, "speed_m_ns": float, "reason": str}
    rows = [
        (
            None,
            {
                "area_id": speed.area_id,
                "echo": echo.name,
                "depth_m": echo.depth_m,
                "used": int(echo.used),
                "speed_m_ns": None if echo.speed_m_ns != echo.speed_m_ns else echo.speed_m_ns,
                "reason": echo.reason,
            },
        )
        for speed in wave_speeds.values()
        for echo in speed.echoes
    ]
    return Layer("wave_speed_echoes", None, fields, rows, tr("Echoes of bars looked at for the wave speeds."))


def speed_region_layer(wave_speeds: Mapping[str, WaveSpeed]) -> Layer:
    """`wave_speed_regions`: wave speeds of halves of areas, where enough bars and lines tell them."""
    fields = {"area_id": str, "region": str, "speed_m_ns": float, "sigma_m_ns": float}
    rows = [
        (None, dict(zip(fields, (speed.area_id, one.where, one.speed_m_ns, one.sigma_m_ns))))
        for speed in wave_speeds.values()
        for one in speed.regions
    ]
    return Layer(
        "wave_speed_regions", None, fields, rows, tr("Wave speeds of halves of areas, from the echoes of bars.")
    )


def coverage_layer(pieces: Iterable[Coverage], areas: Mapping[str, ScanArea], fits: Mapping[str, AreaFit]) -> Layer:
    """`coverage`: everything outside these polygons, or below their depth, is unknown."""
    fields = {
        **dict.fromkeys(("area_id", "level", "surface"), str),
        **dict.fromkeys(("depth_m", "sigma_xy_m"), float),
        "line_directions": int,
        "note": str,
    }
    rows = []
    for piece in pieces:
        area = areas[piece.area_id]
        values = {"area_id": piece.area_id, "level": area.level, "surface": area.surface, "depth_m": piece.depth_m}
        values.update(
            line_directions=piece.line_directions, note=piece.note or None, sigma_xy_m=fits[piece.area_id].sigma_xy_m
        )
        rows.append((piece.rings_m, values))
    text = tr(
        "What counts as scanned, and to which depth; with one line direction, objects along the lines can be missed. "
    )
    return Layer("coverage", "Polygon", fields, rows, text + PLANE + cautions.SHORT)


def finding_layer(findings: Iterable[Finding]) -> Layer:
    """`findings`: what was noticed, and what to do about it."""
    fields = {"severity": str, "where_found": str, "text": str}
    rows = [(None, {"severity": f.severity, "where_found": f.where, "text": f.text}) for f in findings]
    return Layer("findings", None, fields, rows, tr("What was left out or needs a look: error, warning or note."))


def raster_layer(rasters: Iterable[RasterFile], folder) -> Layer:
    """`rasters`: the GeoTIFFs of the result, with paths relative to `folder`, in which survey.gpkg lies."""
    fields = {**dict.fromkeys(("path", "content", "level", "surface", "area_id"), str), "levelled_db": float}
    rows = [
        (None, {**{name: getattr(file, name) for name in fields}, "path": _relative(file.path, folder)})
        for file in rasters
    ]
    return Layer(
        "rasters", None, fields, rows, tr("GeoTIFFs that belong to this survey; no area_id means a whole level.")
    )


def run_log_layer(
    earlier: Sequence[Mapping], steps: Sequence[Tuple[str, Mapping]], inputs: Optional[Mapping[str, str]] = None
) -> Layer:
    """`run_log`: the rows it had, and one for each of `steps` (name and parameters).

    `inputs` are the fingerprints of what they read (`fingerprints.summary`), by which a later change is known.
    """
    rows = [{name: row.get(name) for name in RUN_LOG_FIELDS} for row in earlier]
    for step, parameters in steps:
        values = {"step": step, "parameters": as_json(parameters), "software_version": software_version()}
        if inputs is not None:
            values["inputs"] = as_json(inputs)
        rows.append({"step_number": len(rows) + 1, **values})
    return Layer(
        "run_log", None, RUN_LOG_FIELDS, [(None, row) for row in rows], tr("The steps that made this file, in order.")
    )


def _relative(path, folder) -> str:
    """`path` as seen from `folder`, with slashes; the whole path where there is no relative one."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return Path(path).as_posix()
