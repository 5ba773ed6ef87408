"""Reading back what an earlier step left in survey.gpkg."""

import json
from collections import defaultdict
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Collection, Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import SurveyError, short
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.surfaces import SURFACES, is_from_below
from ..items.model import Item, Pick
from ..radar.model import AreaDepths, ShallowCell, WaveSpeed
from ..site.crs import local_crs_wkt
from ..site.frame import FITTED, NOT_POSITIONED, AreaFit, PointFit
from ..survey.model import Finding, Survey
from ..survey.read import Earlier, read_survey
from .fingerprints import Inputs, read_inputs, unchanged_lines
from .geopackage import check_layers, read_layer, read_layers, read_metadata
from .schema import (
    AREA_DEPTHS,
    AREA_ITEMS,
    CONTROL_POINTS,
    CRS_KEY,
    FINDINGS,
    PICKS,
    RASTERS,
    RELATIVE_FOLDER_KEY,
    RUN_LOG,
    SAMPLE_INTERVAL_KEY,
    SCAN_AREAS,
    SCAN_LINES,
    SURVEY_FOLDER_KEY,
    WAVE_SPEEDS,
)
from .table_schema import Table

ABOUT = "about"  # the table in which a record says what a survey says in its metadata
TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")  # TIFF 6.0, section 2, and BigTIFF


def find_survey_folder(survey_path) -> Path:
    """The folder that `survey_path` was made from.

    It is looked for where it was, then where it would be if folder and GeoPackage were moved together.
    Raises `SurveyError` if neither is there.
    """
    survey_path = Path(survey_path)
    folder, relative = (read_metadata(survey_path, key) for key in (SURVEY_FOLDER_KEY, RELATIVE_FOLDER_KEY))
    if not folder:
        raise SurveyError(
            tr(
                "{survey_path} does not say from which survey folder it was made; read the survey again.",
                survey_path=survey_path,
            )
        )
    candidates = [Path(folder)] + ([survey_path.resolve().parent / relative] if relative else [])
    found = next((candidate for candidate in candidates if candidate.is_dir()), None)
    if found is None:
        raise SurveyError(
            tr(
                "The survey folder {folder} of {name} no longer exists; read the survey again.",
                folder=folder,
                name=survey_path.name,
            )
        )
    return found


def read_stored_survey(survey_path, inputs: Inputs, monitor: Monitor = Monitor()) -> Survey:
    """The survey that `survey_path` was made from, read again from its folder: tables and headers.

    `inputs` are the fingerprints of the folder's files. Samples are decoded only of files that are others than those that the
    latest step read, or that could not be used then; of delimited text, which has no such headers, the rows are counted each time.
    Raises `SurveyError` if the folder is not there.
    """
    folder = find_survey_folder(survey_path)
    interval = read_metadata(survey_path, SAMPLE_INTERVAL_KEY)
    return read_survey(folder, float(interval) if interval else None, monitor, _earlier_reading(survey_path, inputs))


def _earlier_reading(survey_path, inputs: Inputs) -> Earlier:
    """What `survey_path` says of each line whose file and row are still those that the latest step read."""
    unchanged = unchanged_lines(read_inputs(survey_path), inputs)
    used = {_line_of(row) for _, row in read_layer(survey_path, SCAN_LINES.name)}
    said: Dict[str, List[Finding]] = defaultdict(list)
    for one in read_findings(survey_path):
        said[one.where].append(one)

    def earlier(where: str, values: Mapping[str, object]) -> Optional[List[str]]:
        refused = any(one.severity == "error" for one in said[where])
        if refused or _line_of(values) not in used or not unchanged(values[SCAN_LINES.file]):
            return None
        return [one.text for one in said[where]]

    return earlier


def _line_of(row: Mapping) -> Tuple[str, str, str]:
    return row[SCAN_LINES.area_id], row[SCAN_LINES.line_id], row[SCAN_LINES.dipole_axis]


def read_wave_speeds(survey_path) -> Dict[str, WaveSpeed]:
    """Wave speeds by area id from the layer `wave_speeds`; empty where there is none."""
    rows = [values for _, values in read_layer(survey_path, WAVE_SPEEDS.name)]
    areas = {values[WAVE_SPEEDS.area_id]: values for _, values in read_layer(survey_path, SCAN_AREAS.name)}
    return {
        row[WAVE_SPEEDS.area_id]: WaveSpeed(
            row[WAVE_SPEEDS.area_id],
            row[WAVE_SPEEDS.speed_m_ns],
            row[WAVE_SPEEDS.sigma_m_ns],
            row[WAVE_SPEEDS.time_zero_ns],
            row[WAVE_SPEEDS.sigma_time_zero_ns],
            row[WAVE_SPEEDS.method],
            row[WAVE_SPEEDS.correlation] or 0.0,
            tuple((row[WAVE_SPEEDS.warnings] or "").splitlines()),
            focus_speed_m_ns=_or_nan(row[WAVE_SPEEDS.focus_speed_m_ns]),
            focus_sigma_m_ns=_or_nan(row[WAVE_SPEEDS.focus_sigma_m_ns]),
            pulse_phase_rad=row.get(WAVE_SPEEDS.pulse_phase_rad) or 0.0,  # surveys of earlier versions have none
            antenna_separation_m=areas.get(row[WAVE_SPEEDS.area_id], {}).get(SCAN_AREAS.antenna_separation_m) or 0.0,
        )
        for row in rows
    }


def _or_nan(value: Optional[float]) -> float:
    return float("nan") if value is None else value


def read_fits(survey_path, survey: Survey) -> Dict[str, AreaFit]:
    """Where the areas lie, as the latest fit left it in `scan_areas` and `control_points`."""
    check_layers(survey_path, (SCAN_AREAS, CONTROL_POINTS))
    points: Dict[Tuple[str, str], Mapping] = {}
    for _, row in read_layer(survey_path, CONTROL_POINTS.name):
        points[row[CONTROL_POINTS.area_id], row[CONTROL_POINTS.point_id]] = row
    rows = {row[SCAN_AREAS.area_id]: row for row in _area_rows(survey_path)}
    return {
        area.area_id: _fit_of(
            rows[area.area_id],
            tuple(_point_fit(p.point_id, points.get((area.area_id, p.point_id))) for p in area.control_points),
        )
        for area in survey.areas
    }


def read_places(survey_path) -> Dict[str, AreaFit]:
    """Where the areas lie, by area id, without their control points."""
    return {row[SCAN_AREAS.area_id]: _fit_of(row, ()) for row in _area_rows(survey_path)}


def _area_rows(survey_path) -> List[Mapping]:
    rows = [row for _, row in read_layer(survey_path, SCAN_AREAS.name)]
    check_surfaces(survey_path, SCAN_AREAS, rows)
    return rows


def check_surfaces(survey_path, table: Table, rows: Iterable[Mapping]) -> None:
    """Raises `SurveyError` where a row states no known surface: what is computed from it could lie on the wrong side."""
    unknown = [row[SCAN_AREAS.surface] or "" for row in rows if row[SCAN_AREAS.surface] not in SURFACES]
    if unknown:
        raise SurveyError(
            tr(
                'The layer {layer} of {path} has the surface "{surface}", which is none of {surfaces}; process the survey again, '
                "or correct the row.",
                layer=table.name,
                path=survey_path,
                surface=short(unknown[0]),
                surfaces=", ".join(SURFACES),
            )
        )


def _fit_of(row: Mapping, points: Tuple[PointFit, ...]) -> AreaFit:
    mirrored = is_from_below(row[SCAN_AREAS.surface])
    if row[SCAN_AREAS.status] != FITTED:
        return AreaFit(row[SCAN_AREAS.area_id], NOT_POSITIONED, mirrored=mirrored, points=points)
    exact = json.loads(row[SCAN_AREAS.fit])
    return AreaFit(
        row[SCAN_AREAS.area_id],
        FITTED,
        exact["rotation_rad"],
        np.array(exact["shift_m"]),
        mirrored,
        np.array(exact["centroid_m"]),
        np.array(exact["covariance"]),
        row[SCAN_AREAS.sigma0],
        row[SCAN_AREAS.degrees_of_freedom] or 0.0,
        points,
        scale=exact["scale"],
    )


def _point_fit(point_id: str, row: Optional[Mapping]) -> PointFit:
    if row is None or row[CONTROL_POINTS.residual_x_m] is None:
        return PointFit(point_id, False)
    residual, redundancy, detectable = (
        np.array([row[f"{name}_{axis}{unit}"] for axis in "xy"], float)
        for name, unit in (("residual", "_m"), ("redundancy", ""), ("detectable", "_m"))
    )
    return PointFit(
        point_id, bool(row[CONTROL_POINTS.used]), residual, redundancy, row[CONTROL_POINTS.standardized], detectable
    )


def read_picks(survey_path) -> List[Pick]:
    """Picks in their areas' local grids, with the ids of the areas' own items; without those that lack a place on a line."""
    needed = (
        PICKS.area_id,
        PICKS.line_id,
        PICKS.local_x_m,
        PICKS.local_y_m,
        PICKS.depth_m,
        PICKS.sigma_along_m,
        PICKS.sigma_depth_m,
    )
    rows = [row for _, row in read_layer(survey_path, PICKS.name)]
    return [pick_of(row) for row in rows if all(row[name] is not None for name in needed)]


def pick_of(row: Mapping) -> Pick:
    """The pick that a row of `picks` holds."""
    return Pick(
        row[PICKS.pick_id],
        row[PICKS.area_item_id],
        row[PICKS.area_id],
        row[PICKS.line_id],
        row[PICKS.local_x_m],
        row[PICKS.local_y_m],
        row[PICKS.depth_m],
        row[PICKS.sigma_along_m],
        row[PICKS.sigma_depth_m],
        row[PICKS.polarity] or 0,
        _or_nan(row[PICKS.strength_db]),
        _or_nan(row[PICKS.polarization_ratio_db]),
    )


def read_joined_ids(survey_path) -> Dict[str, str]:
    """The areas' own item ids, as picks and `area_items` have them, to those of the layer `items`."""
    rows = [row for _, row in read_layer(survey_path, PICKS.name)]
    return {
        row[PICKS.area_item_id]: row[PICKS.item_id] for row in rows if row[PICKS.area_item_id] and row[PICKS.item_id]
    }


def read_area_items(survey_path) -> List[Item]:
    """Items of each area for itself, in its local grid."""
    return [
        Item(
            row[AREA_ITEMS.item_id],
            (row[AREA_ITEMS.area_id],),
            np.array(json.loads(row[AREA_ITEMS.vertices_m])),
            json.loads(row[AREA_ITEMS.kind_probabilities]),
            row[AREA_ITEMS.confidence],
            row[AREA_ITEMS.sigma_xy_m],
            row[AREA_ITEMS.sigma_depth_m],
            row[AREA_ITEMS.pick_count],
            row[AREA_ITEMS.reasons] or "",
        )
        for _, row in read_layer(survey_path, AREA_ITEMS.name)
    ]


def read_area_depths(survey_path) -> Dict[str, AreaDepths]:
    """What the echoes of each area say of the slab, by area id."""
    return {
        row[AREA_DEPTHS.area_id]: AreaDepths(
            row[AREA_DEPTHS.reliable_m],
            row[AREA_DEPTHS.thickness_m],
            row[AREA_DEPTHS.sigma_thickness_m],
            # Surveys of earlier versions do not have this column.
            tuple(ShallowCell(*cell) for cell in json.loads(row.get(AREA_DEPTHS.shallow_cells) or "[]")),
        )
        for _, row in read_layer(survey_path, AREA_DEPTHS.name)
    }


def read_survey_name(path) -> str:
    """What a survey is called: its folder's name; of a file without one, its own."""
    folder = read_metadata(path, SURVEY_FOLDER_KEY)
    return PurePosixPath(folder).name if folder else Path(path).stem


def read_crs_wkt(path) -> str:
    """The coordinate system of the site grid of a survey or record; the plain local one where there is neither yet, or it was
    never tied.
    """
    path = Path(path)
    if not path.is_file():
        return local_crs_wkt()
    rows, metadata = read_layers(path, [ABOUT], [CRS_KEY])
    return crs_wkt_of(rows[ABOUT], metadata[CRS_KEY])


def crs_wkt_of(about: Sequence[Tuple[object, Mapping]], of_survey: Optional[str]) -> str:
    """As `read_crs_wkt`, from the rows of a record's table `ABOUT` and the metadata item `CRS_KEY` of a survey."""
    known = {row["name"]: row["value"] for _, row in about}
    return of_survey or known.get("crs_wkt") or local_crs_wkt()


def read_findings(survey_path, but_of: Collection[str] = ()) -> List[Finding]:
    """The rows of `findings`, in order, without those found at one of `but_of`."""
    return [
        Finding(row[FINDINGS.severity], row[FINDINGS.where_found], row[FINDINGS.text])
        for _, row in read_layer(survey_path, FINDINGS.name)
        if row[FINDINGS.where_found] not in but_of
    ]


def read_run_log(survey_path) -> List[Mapping]:
    """The rows of `run_log`, in order."""
    return [values for _, values in read_layer(survey_path, RUN_LOG.name)]


def read_raster_paths(survey_path) -> List[Path]:
    """Absolute paths of the rasters that the survey lists; empty where there is no survey yet."""
    survey_path = Path(survey_path)
    if not survey_path.is_file():
        return []
    found = (raster_path(survey_path, values[RASTERS.path]) for _, values in read_layer(survey_path, RASTERS.name))
    return [path for path in found if path is not None]


def raster_path(survey_path, listed: str) -> Optional[Path]:
    """Where a raster lies that the survey's table `rasters` lists; None where no GeoTIFF lies there.

    The survey may be a stranger's: GDAL would take some names for addresses on a network, and open a list of further places under
    the name of a picture. So only a file counts that begins as a TIFF does, and none of another computer than the survey's.
    """
    folder = Path(survey_path).resolve().parent
    computer = PureWindowsPath(listed).drive
    if computer.startswith("\\\\") and computer.lower() != PureWindowsPath(folder).drive.lower():
        return None
    path = folder / listed
    try:
        with path.open("rb") as file:
            return path if file.read(4) in TIFF_STARTS else None
    except (OSError, ValueError):  # ValueError: a name that no file can have
        return None
