"""What lies below one line: the radargram of a scan line, or the depth slices cut along any line; composed, not drawn."""

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Tuple

import numpy as np

from ..area import compute
from ..area.compute import AreaResult
from ..area.settings import RunSettings
from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.values import word
from ..floor import areas
from ..floor.result import SLICES, Found, SurveyRead
from ..geometry.polygons import distance_inside, edges_of
from ..geometry.two_leg import depth_of_plane_path
from ..radar.model import WaveSpeed
from ..site.frame import AreaFit
from ..store import reading
from ..store.fingerprints import survey_inputs
from ..store.geopackage import read_layer
from ..store.schema import COVERAGE, RASTERS
from ..survey.model import ScanArea, ScanLine
from ..survey.tables import AREAS_FILE, LINES_FILE
from .radargrams import PANELS, LinePicture, Panel, compose_line
from .section_path import SectionPath

PIECE_M = 2.0  # cut out of the slices at a time: a long slanting line must not read the whole floor
TABLES = (AREAS_FILE, LINES_FILE)


@dataclass(frozen=True)
class Section:
    """All that is drawn below one line, except picks and items, which may be edited meanwhile.

    Attributes
    ----------
    panels : tuple of Panel
        Of a scan line those of `radargrams.PANELS`, in order; of a drawn line one with the echo strength of the slices, dB.
    reliable_m : ndarray, shape (station,)
        Depth to which the ground counts as scanned at `reliable_at_m`, metres; NaN where it does not count as scanned.
    is_placed : bool
        Are the path's coordinates those of the site grid? Those of an area without a position are local.
    picture : LinePicture or None
        Of a scan line: its speed, separation and how times turn into depths.
    """

    title: str
    level: str
    surface: str
    path: SectionPath
    panels: Tuple[Panel, ...] = field(repr=False)
    reliable_at_m: np.ndarray = field(repr=False)
    reliable_m: np.ndarray = field(repr=False)
    is_placed: bool = True
    picture: Optional[LinePicture] = None
    speed: Optional[WaveSpeed] = None
    fit: Optional[AreaFit] = None

    @property
    def line(self) -> Optional[ScanLine]:
        """The scan line; None for a drawn line."""
        return self.picture.line if self.picture is not None else None

    def local_at(self, distance_m: float) -> np.ndarray:
        """Local coordinates, shape (2,), of a place on a scan line."""
        return np.asarray(self.line.start_m) + distance_m * self.line.direction

    def depth_of_time(self, time_ns):
        """Depth of what lies right below, from its two-way time; inverse of `LinePicture.time_of_depth`."""
        path = np.maximum(np.asarray(time_ns, float), 0.0) * self.picture.speed_m_ns
        return depth_of_plane_path(path, self.picture.separation_m)


@dataclass
class _Kept:
    """One area as it was last looked at."""

    stamp: Tuple
    read: SurveyRead
    estimated: Dict[str, WaveSpeed] = field(default_factory=dict)  # those that the survey does not hold
    prepared: Dict[str, object] = field(default_factory=dict)


class SectionSource:
    """Composes sections of one survey. Keeps the survey and the area that was looked at last; usable from any thread."""

    def __init__(self, survey_path):
        self.survey_path = Path(survey_path)
        self._lock = threading.Lock()
        self._kept: Optional[_Kept] = None

    def of_line(self, area_id: str, line_id: str, dipole_axis: str, monitor: Monitor = Monitor()) -> Section:
        """The radargram of one scan line, as recorded, processed and migrated.

        Raises `SurveyError` or `ProcessingError` where the survey's files are gone or the line cannot be used, `Cancelled`.
        """
        with self._lock:
            read, found = self._survey(monitor.part(0.0, 0.3))
            area = read.areas.get(area_id)
            if area is None:
                raise ProcessingError(tr("The survey has no area {area}; process it again.", area=area_id))
            prepared, speed = self._prepared(area, found, monitor.part(0.3, 0.9))
        numbers = [
            number
            for number, one in enumerate(prepared.lines)
            if (one.line.line_id, one.line.dipole_axis) == (line_id, dipole_axis)
        ]
        if not numbers:
            raise ProcessingError(
                tr(
                    "Area {area} has no usable line {line} with dipoles {axis} the direction of travel; see the "
                    "findings of reading.",
                    area=area_id,
                    line=line_id,
                    axis=word(dipole_axis),
                )
            )
        monitor.step(0.9)
        picture = compose_line(prepared, numbers[0], speed, PANELS, ())
        fit = found.fits[area_id]
        local = np.array([picture.line.start_m, picture.line.end_m])
        stations = np.array([0.0, picture.line.length_m])
        path = SectionPath(fit.to_site(local) if fit.is_fitted else local, stations)
        at, reliable = self._reliable(path, area.level, area.surface, area_id) if fit.is_fitted else _nowhere(path)
        monitor.step(1.0)
        return Section(
            picture.title,
            area.level,
            area.surface,
            path,
            picture.panels,
            at,
            reliable,
            fit.is_fitted,
            picture,
            speed,
            fit,
        )

    def along(self, vertices_m, level: str, surface: str, monitor: Monitor = Monitor()) -> Section:
        """The depth slices of one plane cut along a line, `vertices_m` in the site grid, shape (n, 2), at least two.

        Raises `ProcessingError` where the plane has no slices or the line no length.
        """
        path = SectionPath.drawn(vertices_m)
        if len(path.vertices_m) < 2:
            raise ProcessingError(tr("The section has no length; click two different places."))
        rows = [row for _, row in read_layer(self.survey_path, RASTERS.name)]
        found = [
            reading.raster_path(self.survey_path, row[RASTERS.path])
            for row in rows
            if (row[RASTERS.content], row[RASTERS.level], row[RASTERS.surface], row[RASTERS.area_id] or "")
            == (SLICES, level, surface, "")
        ]
        if not found or found[0] is None:
            raise ProcessingError(
                tr("{level} has no depth slices to cut; run 'Depth slices' or 'Process a survey' first.", level=level)
            )
        panel = cut_slices(found[0], path, monitor.part(0.0, 0.9))
        at, reliable = self._reliable(path, level, surface)
        title = tr("Section of {length:.2f} m through the depth slices of {level}", length=path.length_m, level=level)
        return Section(title, level, surface, path, (panel,), at, reliable)

    def _survey(self, monitor: Monitor) -> Tuple[SurveyRead, Found]:
        """The survey as it is now: its folder is read again only when its tables have changed."""
        path = self.survey_path
        if self._kept is None or self._kept.stamp != _stamp(self._kept.read.survey.folder):
            inputs = survey_inputs(reading.find_survey_folder(path))
            survey = reading.read_stored_survey(path, inputs, monitor)
            self._kept = _Kept(_stamp(survey.folder), SurveyRead(path, survey))
        read = self._kept.read
        speeds = {**self._kept.estimated, **reading.read_wave_speeds(path)}
        return read, Found(fits=reading.read_fits(path, read.survey), wave_speeds=speeds)

    def _prepared(self, area: ScanArea, found: Found, monitor: Monitor):
        """The prepared lines of an area and its wave speed, which is estimated where the survey holds none."""
        kept, own = self._kept, AreaResult(area.area_id)
        kept.read, found = areas.with_known_depths(kept.read, found, monitor, areas=[area])
        task = areas.task_of(kept.read, found, area, RunSettings())
        if area.area_id not in kept.prepared:
            kept.prepared.clear()  # one area at a time: its traces are large
            kept.prepared[area.area_id] = compute.prepare(task, own, monitor.part(0.0, 0.6))
        prepared = kept.prepared[area.area_id]
        speed = compute.wave_speed(task, prepared, own, monitor.part(0.6, 1.0))
        if area.area_id not in found.wave_speeds:
            kept.estimated[area.area_id] = speed
        areas.tell(own, monitor)
        return prepared, speed

    def _reliable(
        self, path: SectionPath, level: str, surface: str, area_id: str = ""
    ) -> Tuple[np.ndarray, np.ndarray]:
        """Depth that counts as scanned along a path, by the layer `coverage`; of several pieces the deepest counts."""
        at = np.linspace(0.0, path.length_m, max(round(path.length_m / 0.02), 1) + 1)
        depth = np.full(len(at), np.nan)
        points = path.points_at(at)
        for rings, row in read_layer(self.survey_path, COVERAGE.name):
            own = (row[COVERAGE.level], row[COVERAGE.surface]) == (level, surface) and (
                not area_id or row[COVERAGE.area_id] == area_id
            )
            if own and row[COVERAGE.depth_m] is not None:
                # Lines lie on the edge of what they cover: a millimetre outside still counts.
                inside = distance_inside(points, edges_of(rings)) >= -0.001
                depth[inside] = np.fmax(depth[inside], row[COVERAGE.depth_m])
        return at, depth


def _nowhere(path: SectionPath) -> Tuple[np.ndarray, np.ndarray]:
    return path.stations_m, np.full(len(path.stations_m), np.nan)


def _stamp(folder: Path) -> Tuple:
    """Changes when the survey's tables do."""
    return tuple((folder / name).stat().st_mtime_ns if (folder / name).is_file() else 0 for name in TABLES)


def cut_slices(path_of_raster, path: SectionPath, monitor: Monitor = Monitor()) -> Panel:
    """Echo strength below a path, dB; each column is the cell it runs through, nothing is interpolated. NaN: not scanned."""
    from ..site.geotiff import GridReader

    reader = GridReader(path_of_raster)
    cell = reader.grid.cell_m
    count = max(round(path.length_m / cell), 1) + 1
    distance = np.linspace(0.0, path.length_m, count)
    x, y = path.points_at(distance).T
    left, top = reader.grid.origin_m
    columns, rows = np.floor((x - left) / cell).astype(int), np.floor((top - y) / cell).astype(int)
    inside = (columns >= 0) & (columns < reader.grid.columns) & (rows >= 0) & (rows < reader.grid.rows)
    values = np.full((count, len(reader.bands)), np.nan, np.float32)
    size = max(round(PIECE_M / cell), 1)
    for start in range(0, count, size):
        monitor.step(start / count)
        own = np.flatnonzero(inside[start : start + size]) + start
        if len(own):
            row, column = rows[own].min(), columns[own].min()
            cube = reader.read(row, column, np.ptp(rows[own]) + 1, np.ptp(columns[own]) + 1)
            values[own] = cube[:, rows[own] - row, columns[own] - column].T
    strongest = float(np.nanmax(values)) if np.isfinite(values).any() else 1.0
    return Panel("depth slices", values, distance, _middles(reader), strongest, True)


def _middles(reader) -> np.ndarray:
    """Middle depth of each band, metres."""
    tags: List[Mapping[str, str]] = [dict(band.tags) for band in reader.bands]
    return np.array([(float(tag["depth_min_m"]) + float(tag["depth_max_m"])) / 2 for tag in tags])
