"""What is done with one area, step by step, and how the areas are gone through.

The radar and item modules are imported when they are first needed, so that reading a survey works without scipy.
"""

import time
import traceback
from contextlib import contextmanager
from typing import Callable, Dict, List, Optional, Tuple

import numpy as np

from ..errors import Cancelled, InslabError, MissingPackageError, ProcessingError
from ..monitor import Monitor
from ..radar.model import WaveSpeed
from ..survey.model import Finding, ScanArea
from .coverage import find_coverage
from .placing import group_by_plane, place_item
from .result import AreaDepths, ChainResult, ChainSettings
from .seams import find_seams
from .shadow import Shadow, find_shadows

STATED_THICKNESS_SIGMA_M = 0.005  # of a thickness from a drawing or a drill hole (common practice, no source)
DISAGREEMENT_SIGMAS = 2.5


@contextmanager
def timed(seconds: Dict[str, float], step: str):
    """Adds the running time of the block to `seconds[step]`."""
    start = time.perf_counter()
    try:
        yield
    finally:
        seconds[step] = seconds.get(step, 0.0) + time.perf_counter() - start


def each_area(result: ChainResult, work: Callable[[ScanArea, Monitor], None], monitor: Monitor) -> None:
    """Calls `work(area, monitor)` for every area; one that fails becomes an entry of `result.failures` and a finding.

    Raises `ProcessingError` if all fail; `Cancelled` and `MissingPackageError` go through.
    """
    areas = result.survey.areas
    for number, area in enumerate(areas):
        monitor.step(number / len(areas))
        monitor.log(f"Area {area.area_id} ({number + 1} of {len(areas)}): {len(area.lines)} lines.")
        try:
            work(area, monitor.part(number / len(areas), (number + 1) / len(areas)))
        except (Cancelled, MissingPackageError):
            raise
        except Exception as error:
            sentence = _sentence(error, monitor).removeprefix(
                f"Area {area.area_id}: "
            )  # said already by what stands before
            result.failures[area.area_id] = sentence
            result.note("error", f"area {area.area_id}", sentence)
            monitor.warn(f"Area {area.area_id} gives no complete result: {sentence}")
    if len(result.failures) == len(areas):
        area_id, reason = next(iter(result.failures.items()))
        raise ProcessingError(f"No scan area could be processed; the first of {len(areas)}, {area_id}: {reason}")


def prepare(result: ChainResult, area: ScanArea, settings: ChainSettings, monitor: Monitor):
    """Mended, aligned and levelled lines of an area (`radar.prepare.PreparedArea`)."""
    with timed(result.seconds, "prepare"), _packages():
        from ..radar.prepare import prepare_area

        prepared = prepare_area(area, monitor=monitor, mending=settings.mending)
    for found in prepared.findings:
        result.findings.append(found)
        monitor.warn(f"{found.where}: {found.text}")
    return prepared


def wave_speed(result: ChainResult, prepared, monitor: Monitor) -> WaveSpeed:
    """The area's wave speed: the one that `result` has already, or a new estimate, which is kept there."""
    area_id = prepared.area.area_id
    if area_id not in result.wave_speeds:
        with timed(result.seconds, "wave speed"), _packages():
            from ..items.bar_speed import estimate_wave_speed

            speed = estimate_wave_speed(prepared, monitor=monitor.part(0.0, 0.6))
            speed = result.wave_speeds[area_id] = check_speed(result, prepared, speed, monitor.part(0.6, 1.0))
        for sentence in speed.warnings:
            result.note("warning", f"area {area_id}", sentence)
            monitor.warn(f"Area {area_id}: {sentence}")
        monitor.log(
            f"Area {area_id}: wave speed {speed.speed_m_ns:.4f} ± {speed.sigma_m_ns:.4f} m/ns "
            f"(relative permittivity {speed.relative_permittivity:.1f})."
        )
    return result.wave_speeds[area_id]


def check_speed(result: ChainResult, prepared, speed: WaveSpeed, monitor: Monitor) -> WaveSpeed:
    """The wave speed with what focusing, known depths and a stated slab thickness say of it."""
    from ..items.known_depths import use_known_depths
    from ..radar.focus_speed import check_focus
    from ..radar.imaging import find_base

    base = find_base(prepared, speed, cell_m=0.02, monitor=monitor.part(0.0, 0.2))
    thickness = float(np.nanmedian(base.thickness_m)) if base.seen else None
    speed = check_focus(prepared, speed, thickness, monitor.part(0.2, 0.4))
    speed, findings = use_known_depths(prepared, speed, base, known_depths(result, monitor), monitor.part(0.4, 1.0))
    findings += _stated_thickness_findings(prepared.area, base)
    for found in findings:
        result.findings.append(found)
        monitor.warn(f"{found.where}: {found.text}")
    return speed


def _stated_thickness_findings(area: ScanArea, base) -> List[Finding]:
    """A stated slab thickness that the slab base contradicts; it is nominal, so the wave speed is not adjusted to it."""
    stated = _stated_thickness(area)
    if stated is None or not base.seen:
        return []
    seen, sigma = float(np.nanmedian(base.thickness_m)), float(np.nanmedian(base.sigma_m))
    apart = abs(seen - stated) / np.hypot(sigma, STATED_THICKNESS_SIGMA_M)
    if apart <= DISAGREEMENT_SIGMAS:
        return []
    text = (
        f"the slab base shows {seen:.3f} m where the table of areas states a thickness of {stated:.3f} m, {apart:.1f} sigmas "
        "apart; if it was measured there, give it as a known depth."
    )
    return [Finding("warning", f"area {area.area_id}", text)]


def known_depths(result: ChainResult, monitor: Monitor, path=None) -> Tuple:
    """Known depths of the survey folder, or of the table at `path`; read once a run."""
    if result.known_depths is None:
        from ..items.known_depths import read_known_depths

        findings: List[Finding] = []
        result.known_depths = tuple(read_known_depths(result.survey.folder, result.areas, findings, path))
        for found in findings:
            result.findings.append(found)
            monitor.warn(f"{found.where}: {found.text}")
    return result.known_depths


def slab_base(result: ChainResult, prepared, speed: WaveSpeed, settings: ChainSettings, monitor: Monitor):
    """Slab base of an area, in its local grid."""
    with timed(result.seconds, "image"), _packages():
        from ..radar.imaging import find_base

        return find_base(prepared, speed, cell_m=settings.cell_m, monitor=monitor)


def image(result: ChainResult, prepared, speed: WaveSpeed, base, settings: ChainSettings, monitor: Monitor):
    """Depth volume of an area, in its local grid; None, with a note, for lines that make no grid."""
    with timed(result.seconds, "image"), _packages():
        from ..radar.imaging import image_area

        volume = image_area(
            prepared,
            speed,
            base,
            cell_m=settings.cell_m,
            depth_step_m=settings.depth_step_m,
            max_depth_m=settings.max_depth_m,
            monitor=monitor,
        )
    if volume is None:
        area_id = prepared.area.area_id
        result.note("note", f"area {area_id}", "no two of its lines are parallel, so it has no depth slices.")
        monitor.log(f"Area {area_id}: no two of its lines are parallel, so it has no depth slices.")
    elif base.seen and settings.max_depth_m and settings.max_depth_m > np.nanmedian(base.thickness_m):
        thickness = 1000 * float(np.nanmedian(base.thickness_m))
        text = f"the slab base lies at {thickness:.0f} mm, above the depth asked for; slices below it show no concrete."
        result.note("warning", f"area {prepared.area.area_id}", text)
        monitor.warn(f"Area {prepared.area.area_id}: {text}")
    return volume


def reliable_depth(prepared, speed: WaveSpeed, base):
    """Depth down to which an area counts as scanned, metres, or None where that is not known."""
    from ..radar.imaging import reliable_depth_m

    return reliable_depth_m(prepared, speed, base)


def detect(result: ChainResult, prepared, speed: WaveSpeed, base, monitor: Monitor) -> None:
    """Finds the area's picks and items, in its local grid, and what its echoes say of the slab; adds them to `result`."""
    area = prepared.area
    result.depths[area.area_id] = _depths(area, base, reliable_depth(prepared, speed, base))
    with timed(result.seconds, "detect"), _packages():
        from ..items.detect import detect_items

        picks, items = detect_items(prepared, speed, base, monitor=monitor)
    result.picks.extend(picks)
    result.area_items.extend(items)
    monitor.log(f"Area {area.area_id}: {len(items)} items from {len(picks)} picks.")


def _depths(area: ScanArea, base, reliable_m: Optional[float]) -> AreaDepths:
    """Slab thickness as stated in the table of areas (column `slab_thickness_m`), else as the slab base shows it."""
    stated = _stated_thickness(area)
    if stated is not None:
        return AreaDepths(reliable_m, stated, STATED_THICKNESS_SIGMA_M)
    if not base.seen:
        return AreaDepths(reliable_m)
    return AreaDepths(reliable_m, float(np.nanmedian(base.thickness_m)), float(np.nanmedian(base.sigma_m)))


def _stated_thickness(area: ScanArea) -> Optional[float]:
    try:
        stated = float(area.extra.get("slab_thickness_m") or "nan")
    except ValueError:
        return None
    return stated if 0 < stated < 10 else None


def _shadows(result: ChainResult, area: ScanArea) -> List[Shadow]:
    """Ground of an area in the shadow of a mesh, in its local grid; none where no wave speed is known."""
    speed = result.wave_speeds.get(area.area_id)
    if speed is None:
        return []
    own = [item for item in result.area_items if item.area_ids[0] == area.area_id]
    return find_shadows(own, speed.speed_m_ns / area.centre_frequency_ghz)


def place_and_join(result: ChainResult, monitor: Monitor) -> None:
    """Puts items and coverage on the site grid by the present fits, and joins items across the areas of each plane.

    Those of areas that are not positioned stay in their local grids. Also finds the seams, and where two areas disagree on what
    could be one object.
    """
    result.coverage, result.items, result.joined_as, result.disagreements = [], [], {}, []
    unplaced = []
    with timed(result.seconds, "place"):
        placed = []
        for item in result.area_items:
            fit = result.fits[item.area_ids[0]]
            if fit.is_fitted:
                placed.append(place_item(item, fit))
            else:
                unplaced.append(item)
        for area in result.survey.areas:
            fit = result.fits[area.area_id]
            if fit.is_fitted and area.area_id in result.depths:
                shadows = _shadows(result, area)
                result.coverage.extend(find_coverage(area, fit, result.depths[area.area_id].reliable_m, shadows))
    with timed(result.seconds, "join"), _packages():
        from ..items.join import join_items

        planes = group_by_plane([area for area in result.survey.areas if result.fits[area.area_id].is_fitted])
        for number, areas in enumerate(planes.values()):
            ids = {area.area_id for area in areas}
            items = [item for item in placed if item.area_ids[0] in ids]
            if items:
                own = join_items(items, monitor=monitor.part(number / len(planes), (number + 1) / len(planes)))
                result.joined_as.update(own.joined_as)
                result.items.extend(own.items)
                result.disagreements.extend(own.disagreements)
        result.items.extend(unplaced)
        result.seams = find_seams(result.picks, result.areas, result.fits)


@contextmanager
def _packages():
    """Says which package is missing, where one is."""
    try:
        yield
    except ModuleNotFoundError as error:
        if error.name.startswith(__name__.split(".")[0]):
            raise  # a part of Inslab itself
        raise MissingPackageError(
            f"This step needs the Python package {error.name}; install it (Debian: python3-{error.name}, OSGeo4W and conda: "
            f"{error.name}) and start QGIS again."
        ) from error


def _sentence(error: Exception, monitor: Monitor) -> str:
    """What to tell about an error that cost one area its result."""
    if isinstance(error, InslabError):
        return str(error)
    if isinstance(error, MemoryError):
        return "the memory does not suffice; take a larger cell, a larger depth step or a smaller greatest depth."
    if isinstance(error, OSError):
        return f"a file cannot be read or written ({error})."
    monitor.log("".join(traceback.format_exception(type(error), error, error.__traceback__)))
    return f"a fault of the program ({type(error).__name__}: {error}); please report it with the log above."
