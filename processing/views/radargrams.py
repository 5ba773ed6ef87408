"""Radargrams as they will be drawn: the samples of one line before and after each step, with picks and items in their places.

All times count from time zero, all depths from the scanned surface; nothing here draws (`radargram_picture` does).
"""

from dataclasses import dataclass, field
from typing import Dict, List, Mapping, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.values import word
from ..geometry.two_leg import NOMINAL_RADIUS_M, plane_path, two_leg_path
from ..items.model import Item, Pick
from ..survey.model import ScanArea, ScanLine, Survey
from .section_path import meetings

PANELS = ("raw", "processed", "migrated")
BEFORE_NS = 0.4  # shown before time zero
COURSE_REACH_M = 0.12
IMAGE_STEP_M = 0.005


@dataclass(frozen=True)
class Panel:
    """One picture of a line.

    Attributes
    ----------
    values : ndarray, float32, shape (trace or column, sample or level)
    distance_m : ndarray, shape (trace or column,)
        From the line's start.
    vertical : ndarray
        Time after time zero, ns, of each sample; or depth, m, of each level where `in_depth`.
    limit : float
        Value drawn in full white (and, negative, in full black).
    """

    title: str
    values: np.ndarray = field(repr=False)
    distance_m: np.ndarray = field(repr=False)
    vertical: np.ndarray = field(repr=False)
    limit: float
    in_depth: bool = False


@dataclass(frozen=True)
class Crossing:
    """An item where it crosses the line: distance from the line's start, depth to its top, angle from the line's normal.

    `picked` says whether the line itself shows it.
    """

    label: str
    distance_m: float
    depth_m: float
    crossing_rad: float
    picked: bool


@dataclass(frozen=True)
class LinePicture:
    """All that is drawn of one line: panels, items and how times turn into depths."""

    area_id: str
    line: ScanLine
    panels: Tuple[Panel, ...]
    crossings: Tuple[Crossing, ...]
    speed_m_ns: float
    sigma_m_ns: float
    separation_m: float
    deepest_m: float

    @property
    def title(self) -> str:
        return tr(
            "Area {area_id}, line {line_id}, dipoles {dipole_axis} the direction of travel",
            area_id=self.area_id,
            line_id=self.line.line_id,
            dipole_axis=word(self.line.dipole_axis),
        )

    def time_of_depth(self, depth_m):
        """Two-way time of a flat reflector or of what lies right below, ns."""
        return plane_path(depth_m, self.separation_m) / self.speed_m_ns

    def course(self, crossing: Crossing) -> Tuple[np.ndarray, np.ndarray]:
        """Distance (m) and time (ns) at which the echo of an item is expected along the line."""
        offset = np.linspace(-COURSE_REACH_M, COURSE_REACH_M, 49)
        path = two_leg_path(
            offset,
            crossing.depth_m,
            self.separation_m,
            self.line.dipole_axis,
            crossing.crossing_rad,
            NOMINAL_RADIUS_M,
        )
        return crossing.distance_m + offset, path / self.speed_m_ns


def choose_lines(survey: Survey, text: str) -> Dict[str, List[ScanLine]]:
    """Lines by area id for a choice in words: 'A1/x05', 'A1' (all of an area), several with commas between; empty for all.

    Raises `ProcessingError` naming what the survey does not have.
    """
    wanted = [part.strip() for part in text.replace(";", ",").replace("\n", ",").split(",") if part.strip()]
    chosen: Dict[str, List[ScanLine]] = {}
    used = set()
    for area in survey.areas:
        for line in area.lines:
            names = {area.area_id, f"{area.area_id}/{line.line_id}"}
            if not wanted or names & set(wanted):
                chosen.setdefault(area.area_id, []).append(line)
                used |= names
    missing = [name for name in wanted if name not in used]
    if missing:
        raise ProcessingError(
            tr(
                "The survey has no area or line {missing}; write A1/x05 for line x05 of area A1, A1 for all its lines.",
                missing=", ".join(missing),
            )
        )
    return chosen


def file_name(line: ScanLine) -> str:
    """Name of a line's picture; characters that a file system may refuse become underscores."""
    plain = "".join(c if c.isalnum() or c in "-." else "_" for c in f"{line.area_id}_{line.line_id}_{line.dipole_axis}")
    return f"{plain}.png"


def compose_line(prepared, number: int, speed, panels: Sequence[str], crossings: Sequence[Crossing]) -> LinePicture:
    """The picture of one line.

    Parameters
    ----------
    prepared : PreparedArea
    number : int
        Which of its lines.
    speed : WaveSpeed
    panels : sequence of str
        Some of `PANELS`, in the order wanted.
    """
    from ..radar.imaging import DEEPEST_M, recorded_depth_m

    area, line = prepared.area, prepared.lines[number].line
    deepest = min(DEEPEST_M, max(recorded_depth_m(prepared, speed), 0.02))
    make = {"raw": _raw, "processed": _processed, "migrated": _migrated}
    return LinePicture(
        area.area_id,
        line,
        tuple(make[name](prepared, prepared.lines[number], speed, deepest) for name in panels),
        tuple(crossings),
        speed.speed_m_ns,
        speed.sigma_m_ns,
        area.antenna_separation_m,
        deepest,
    )


def _raw(prepared, one, speed, _deepest) -> Panel:
    traces = one.line.read_traces()
    lag = prepared.reference_ns - speed.time_zero_ns
    time = np.arange(traces.shape[1]) * one.line.sample_interval_ns - one.extremum_ns + lag
    limit = float(np.percentile(np.abs(traces - np.median(traces)), 97))
    return Panel(tr("as recorded"), traces, one.distances_m, time, limit or 1.0)


def _scattered(prepared, one, speed) -> Tuple[np.ndarray, np.ndarray]:
    """Processed traces and their times after time zero, ns."""
    from ..radar.line_groups import scattered_traces

    traces = scattered_traces(one, prepared.interval_ns, prepared.area.centre_frequency_ghz)
    return traces, prepared.time_ns + prepared.reference_ns - speed.time_zero_ns


def _processed(prepared, one, speed, _deepest) -> Panel:
    traces, time = _scattered(prepared, one, speed)
    values = traces * gain(traces, time, 1.0 / prepared.area.centre_frequency_ghz)
    limit = float(np.percentile(np.abs(values[:, time > 0]), 98.5)) if (time > 0).any() else 1.0
    return Panel("processed", values.astype(np.float32), one.distances_m, time, limit or 1.0)


def gain(values, vertical, start: float, spreading: float = 1.0) -> np.ndarray:
    """Factor for each sample that undoes spreading and the attenuation found in the data; shape (sample,).

    The level over time t (or depth) is taken as exp(-a t) t^-spreading. a comes from a straight line through the logarithm of the
    median magnitude beyond `start`, and is never negative. One smooth law for the whole line: relative strengths are kept.
    """
    late = vertical > start
    if late.sum() < 8:
        return np.ones(len(vertical))
    level = np.median(np.abs(values[:, late]), axis=0) * vertical[late] ** spreading
    slope, _ = np.polyfit(vertical[late], np.log(np.maximum(level, 1e-9 * level.max() + 1e-30)), 1)
    since = np.maximum(vertical, start)
    return since**spreading * np.exp(max(-slope, 0.0) * since)


def _migrated(prepared, one, speed, deepest_m) -> Panel:
    from ..radar.migration import ImageGrid, migration_operator

    traces, time = _scattered(prepared, one, speed)
    frequency = prepared.area.centre_frequency_ghz
    wavelength = speed.speed_m_ns / frequency
    start, end = one.distances_m.min(), one.distances_m.max()
    grid = ImageGrid(
        np.linspace(start, end, max(round((end - start) / IMAGE_STEP_M), 1) + 1),
        np.arange(0.01, deepest_m, wavelength / 24),
    )
    operator = migration_operator(
        one.distances_m,
        time,
        grid,
        speed.speed_m_ns,
        prepared.area.antenna_separation_m,
        one.line.dipole_axis,
        0.0,
        frequency,
    )
    image = (operator @ traces.ravel()).reshape(grid.shape)
    # The sum over the aperture has undone the spreading already.
    values = image * gain(image, grid.depth_m, 0.5 * wavelength, spreading=0.0)
    limit = float(np.percentile(np.abs(values), 98.5))
    return Panel("migrated", values.astype(np.float32), grid.distance_m, grid.depth_m, limit or 1.0, True)


def find_crossings(
    area: ScanArea, line: ScanLine, picks: Sequence[Pick], items: Sequence[Item], names: Mapping[str, str]
) -> List[Crossing]:
    """Where the area's items cross a line, and what the line itself shows of them.

    Parameters
    ----------
    picks, items
        Of this area, in its local grid.
    names : mapping of str to str
        The area's item ids to those under which they are known after joining.
    """
    own = {pick.item_id: pick for pick in picks if pick.line_id == line.line_id}
    out = []
    for item in items:
        met = next(iter(meetings(line.start_m, line.end_m, item.vertices_m)), None)
        pick = own.get(item.item_id)
        if pick is not None:
            distance = float((np.array([pick.x_m, pick.y_m]) - line.start_m) @ line.direction)
            angle = met.crossing_rad if met else 0.0
            out.append(Crossing(names.get(item.item_id, item.item_id), distance, pick.depth_m, angle, True))
        elif met:
            place = (met.distance_m, met.depth_m, met.crossing_rad)
            out.append(Crossing(names.get(item.item_id, item.item_id), *place, False))
    return sorted(out, key=lambda crossing: (crossing.distance_m, crossing.depth_m))
