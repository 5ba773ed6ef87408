"""What is computed for one area, as one function of plain data: `work_area`. Nothing else of a survey reaches it.

It runs in this process, in a process beside it or on another machine (`area.runners`), and its results are kept by what it was
given (`area.cache`): so whatever it must know stands in its `AreaTask`.

The radar and item modules are imported when they are first needed, so that reading a survey works without scipy.
"""

import time
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Callable, Dict, List, Optional, Set, Tuple

import numpy as np

from ..common.errors import Cancelled, MissingPackageError, sentence_on
from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..common.packages import packages
from ..radar.line_faults import Mending
from ..radar.model import AreaDepths, DepthVolume, SlabBase, WaveSpeed
from ..survey.model import Finding, ScanArea
from ..survey.quality import SampleChecks, is_refused, read_checked
from ..survey.tables import STATED_THICKNESS
from .settings import RunSettings

STATED_THICKNESS_SIGMA_M = 0.005  # of a thickness from a drawing or a drill hole (common practice, no source)
DISAGREEMENT_SIGMAS = 2.5

# What is done with the prepared lines of an area (`radar.preprocessing.PreparedArea`) and its wave speed, here and now.
Use = Callable[[object, WaveSpeed, Monitor], None]


@dataclass(frozen=True)
class AreaTask:
    """All that the result of one area depends on.

    Attributes
    ----------
    area : ScanArea
        Without what radar and items need not know (`bare`).
    known_depths : tuple of KnownDepth
        Those of this area.
    speed : WaveSpeed or None
        From an earlier step; estimated if None.
    cell_m, depth_step_m, max_depth_m, mending
        As in `RunSettings`.
    volume, items : bool
        Whether slab base and depth volume, and picks and items, are wanted besides the wave speed.
    check : bool
        Whether nobody has looked at the samples of the lines yet: they are checked, and lines left out that cannot be used.
    """

    area: ScanArea
    known_depths: Tuple = ()
    speed: Optional[WaveSpeed] = None
    cell_m: float = RunSettings.cell_m
    depth_step_m: float = RunSettings.depth_step_m
    max_depth_m: Optional[float] = None
    mending: Mending = field(default_factory=Mending)
    volume: bool = True
    items: bool = True
    check: bool = False


@dataclass
class AreaResult:
    """What one area gives, in its local grid. What was not wanted, or failed, stays empty.

    Attributes
    ----------
    checks : dict
        Where the task asked for it: name of a line to what is wrong with its samples (`survey.quality.SampleChecks`).
    findings, said : list
        What was noticed, and what to tell (pairs of ``log`` or ``warn`` and a sentence), in the order it came up.
    failure, missing : str
        Why there is no result, or not all of it; which package is missing. Empty where all went well.
    seconds : dict
        Step to its running time.
    """

    area_id: str
    speed: Optional[WaveSpeed] = None
    base: Optional[SlabBase] = None
    volume: Optional[DepthVolume] = None
    depths: Optional[AreaDepths] = None
    picks: List = field(default_factory=list)
    items: List = field(default_factory=list)
    checks: Dict[str, SampleChecks] = field(default_factory=dict)
    findings: List[Finding] = field(default_factory=list)
    said: List[Tuple[str, str]] = field(default_factory=list)
    failure: str = ""
    missing: str = ""
    seconds: Dict[str, float] = field(default_factory=dict)

    @property
    def refused(self) -> Set[str]:
        """Names of the lines whose samples cannot be used."""
        return {name for name, checks in self.checks.items() if is_refused(checks)}

    def log(self, text: str) -> None:
        self.said.append(("log", text))

    def find(self, found: Finding) -> None:
        """Keeps a finding, and tells it."""
        self.findings.append(found)
        where = found.where[:1].upper() + found.where[1:] if found.where.startswith(tr("area")) else found.where
        self.said.append(("log" if found.severity == "note" else "warn", f"{where}: {found.text}"))


def bare(area: ScanArea) -> ScanArea:
    """`area` with nothing but what radar and items may depend on: its lines, its radar, a stated slab thickness.

    Where it lies, when it was scanned and by whom do not belong to it, so that changing them costs no computing.
    """
    thickness = {name: text for name, text in area.extra.items() if name == STATED_THICKNESS and text}
    return ScanArea(
        area.area_id,
        level="",
        surface="",
        antenna_separation_m=area.antenna_separation_m,
        centre_frequency_mhz=area.centre_frequency_mhz,
        lines=tuple(replace(line, extra={}) for line in area.lines),
        extra=thickness,
    )


def work_area(task: AreaTask, monitor: Monitor = Monitor(), use: Optional[Use] = None) -> AreaResult:
    """Wave speed of an area and, where wanted, its depth volume and its items.

    `use` is handed the prepared lines and the wave speed, for what is no result of the area, as its pictures. Whatever goes wrong
    stands in the result; only `Cancelled` is raised.
    """
    result = AreaResult(task.area.area_id)
    monitor = replace(monitor, log=result.log, warn=lambda text: result.said.append(("warn", text)))
    try:
        _work(task, result, monitor, use)
    except Cancelled:
        raise
    except MissingPackageError as error:
        result.failure = result.missing = str(error)
    except Exception as error:
        result.failure = _failure_sentence(error, task.area.area_id, result.log)
    return result


def _work(task: AreaTask, result: AreaResult, monitor: Monitor, use: Optional[Use]) -> None:
    decoded: Dict[Path, np.ndarray] = {}
    if task.check:
        task, decoded = _check_lines(task, result, monitor.part(0.0, 0.02))
        if not decoded:
            return
    prepared = prepare(task, result, monitor.part(0.02, 0.1), decoded)
    speed = result.speed = wave_speed(task, prepared, result, monitor.part(0.1, 0.3))
    if use is not None:
        use(prepared, speed, monitor.part(0.3, 1.0))
    if not (task.volume or task.items):
        return
    with timed(result.seconds, "image"), packages():
        from ..radar.imaging import find_base

        base = result.base = find_base(prepared, speed, cell_m=task.cell_m, monitor=monitor.part(0.3, 0.4))
    if task.volume:
        result.volume = _image(task, prepared, speed, base, result, monitor.part(0.4, 0.6))
    if task.items:
        _detect(task, prepared, speed, base, result, monitor.part(0.6, 1.0))


def _check_lines(task: AreaTask, result: AreaResult, monitor: Monitor) -> Tuple[AreaTask, Dict[Path, np.ndarray]]:
    """The task with the lines that can be used, and their samples by path, each decoded once for checks and processing."""
    decoded = {}
    with timed(result.seconds, "prepare"):
        for number, line in enumerate(task.area.lines):
            monitor.step(number / len(task.area.lines))
            traces, result.checks[line.name] = read_checked(line)
            if traces is not None:
                decoded[line.path] = traces
    usable = tuple(line for line in task.area.lines if line.path in decoded)
    return replace(task, area=replace(task.area, lines=usable)), decoded


def prepare(task: AreaTask, result: AreaResult, monitor: Monitor, decoded: Optional[Dict[Path, np.ndarray]] = None):
    """Mended, aligned and levelled lines of an area (`radar.preprocessing.PreparedArea`); `decoded` as in `prepare_area`."""
    with timed(result.seconds, "prepare"), packages():
        from ..radar.preprocessing import prepare_area

        prepared = prepare_area(task.area, monitor=monitor, mending=task.mending, decoded=decoded)
    for found in prepared.findings:
        result.find(found)
    return prepared


def wave_speed(task: AreaTask, prepared, result: AreaResult, monitor: Monitor) -> WaveSpeed:
    """The given wave speed, or an estimate."""
    if task.speed is not None:
        return task.speed
    area_id = task.area.area_id
    with timed(result.seconds, "wave speed"), packages():
        from ..speed.bar_echoes import estimate_wave_speed

        speed = estimate_wave_speed(prepared, monitor=monitor.part(0.0, 0.6))
        speed = _check_speed(task, prepared, speed, result, monitor.part(0.6, 1.0))
    for text in speed.warnings:
        result.find(Finding("warning", tr("area {area_id}", area_id=area_id), text))
    result.log(
        tr(
            "Area {area_id}: wave speed {speed_m_ns:.4f} ± {sigma_m_ns:.4f} m/ns (relative permittivity "
            "{relative_permittivity:.1f}).",
            area_id=area_id,
            speed_m_ns=speed.speed_m_ns,
            sigma_m_ns=speed.sigma_m_ns,
            relative_permittivity=speed.relative_permittivity,
        )
    )
    return speed


def _check_speed(task: AreaTask, prepared, speed: WaveSpeed, result: AreaResult, monitor: Monitor) -> WaveSpeed:
    """The wave speed with what focusing, known depths and a stated slab thickness say of it."""
    from ..items.known_depths import use_known_depths
    from ..radar.imaging import find_base
    from ..speed.focusing import check_focus

    base = find_base(prepared, speed, cell_m=0.02, monitor=monitor.part(0.0, 0.2))
    thickness = float(np.nanmedian(base.thickness_m)) if base.seen else None
    speed = check_focus(prepared, speed, thickness, monitor.part(0.2, 0.4))
    speed, findings = use_known_depths(prepared, speed, base, task.known_depths, monitor.part(0.4, 1.0))
    for found in [*findings, *_stated_thickness_findings(task.area, base)]:
        result.find(found)
    return speed


def _stated_thickness_findings(area: ScanArea, base: SlabBase) -> List[Finding]:
    """A stated slab thickness that the slab base contradicts; it is nominal, so the wave speed is not adjusted to it."""
    stated = _stated_thickness(area)
    if stated is None or not base.seen:
        return []
    seen, sigma = float(np.nanmedian(base.thickness_m)), float(np.nanmedian(base.sigma_m))
    apart = abs(seen - stated) / np.hypot(sigma, STATED_THICKNESS_SIGMA_M)
    if apart <= DISAGREEMENT_SIGMAS:
        return []
    text = tr(
        "the slab base is seen at {seen:.3f} m, but the table of areas states a thickness of {stated:.3f} m, "
        "{apart:.1f} sigmas apart; if the thickness was measured there, enter it as a known depth.",
        seen=seen,
        stated=stated,
        apart=apart,
    )
    return [Finding("warning", tr("area {area_id}", area_id=area.area_id), text)]


def _image(task: AreaTask, prepared, speed: WaveSpeed, base: SlabBase, result: AreaResult, monitor: Monitor):
    """Depth volume of an area; None, with a note, for lines that make no grid."""
    with timed(result.seconds, "image"), packages():
        from ..radar.imaging import image_area

        volume = image_area(
            prepared,
            speed,
            base,
            cell_m=task.cell_m,
            depth_step_m=task.depth_step_m,
            max_depth_m=task.max_depth_m,
            monitor=monitor,
        )
    where = tr("area {area_id}", area_id=task.area.area_id)
    if volume is None:
        result.find(Finding("note", where, tr("no two of its lines are parallel, so it has no depth slices.")))
    elif base.seen and task.max_depth_m and task.max_depth_m > np.nanmedian(base.thickness_m):
        thickness = 1000 * float(np.nanmedian(base.thickness_m))
        text = tr(
            "the slab base lies at {thickness:.0f} mm, above the requested depth; slices below it show no concrete.",
            thickness=thickness,
        )
        result.find(Finding("warning", where, text))
    return volume


def _detect(task: AreaTask, prepared, speed: WaveSpeed, base: SlabBase, result: AreaResult, monitor: Monitor) -> None:
    """The area's picks and items, and what its echoes say of the slab."""
    with timed(result.seconds, "detect"), packages():
        from ..items.detect import detect_items
        from ..radar.reliable_depth import reliable_depths

        reliable, shallow = reliable_depths(prepared, speed, base)
        result.depths = replace(_depths(task.area, base, reliable), shallow=shallow)
        result.picks, result.items = detect_items(prepared, speed, base, monitor=monitor)
    result.log(
        tr(
            "Area {area_id}: {items} from {picks}.",
            area_id=task.area.area_id,
            items=trn("{count} item", "{count} items", len(result.items)),
            picks=trn("{count} pick", "{count} picks", len(result.picks)),
        )
    )


def _depths(area: ScanArea, base: SlabBase, reliable_m: Optional[float]) -> AreaDepths:
    """Slab thickness as stated in the table of areas, else as the slab base shows it."""
    stated = _stated_thickness(area)
    if stated is not None:
        return AreaDepths(reliable_m, stated, STATED_THICKNESS_SIGMA_M)
    if not base.seen:
        return AreaDepths(reliable_m)
    return AreaDepths(reliable_m, float(np.nanmedian(base.thickness_m)), float(np.nanmedian(base.sigma_m)))


def _stated_thickness(area: ScanArea) -> Optional[float]:
    try:
        stated = float(area.extra.get(STATED_THICKNESS) or "nan")
    except ValueError:
        return None
    return stated if 0 < stated < 10 else None


@contextmanager
def timed(seconds: Dict[str, float], step: str):
    """Adds the running time of the block to `seconds[step]`."""
    start = time.perf_counter()
    try:
        yield
    finally:
        seconds[step] = seconds.get(step, 0.0) + time.perf_counter() - start


def _failure_sentence(error: Exception, area_id: str, log) -> str:
    """What to tell about an error that cost one area its result, after the words 'Area ...: '."""
    sentence = sentence_on(
        error,
        memory=tr(
            "there is not enough memory; choose a larger cell size, a larger depth step or a smaller maximum depth."
        ),
        file=tr("a file cannot be read or written ({reason})."),
        internal=tr("an internal error ({kind}: {reason}); please report it with the log above."),
        log=log,
    )
    return sentence.removeprefix(tr("Area {area_id}: ", area_id=area_id))
