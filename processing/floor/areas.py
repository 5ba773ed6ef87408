"""How the areas of a survey are gone through, and what is done with all of them together.

What is done with one area stands in `area_task`.
"""

from contextlib import contextmanager
from tempfile import TemporaryDirectory
from typing import Callable, Dict, Iterator, List, Optional, Sequence, Tuple

from ..area import compute
from ..area.cache import AreaCache
from ..area.compute import AreaResult, AreaTask, bare, sentence, timed
from ..area.plain_data import from_bytes
from ..area.runners import Runner, run_on_cores, task_text
from ..area.settings import RunSettings
from ..common.errors import Cancelled, MissingPackageError, ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.packages import packages
from ..radar.model import WaveSpeed
from ..survey.model import Finding, ScanArea
from .coverage import find_coverage
from .overlaps import find_seams
from .placing import group_by_plane, place_item
from .result import ChainResult
from .shadows import Shadow, drowned_ground, find_shadows

Take = Callable[[ScanArea, AreaResult], None]


def work_areas(
    result: ChainResult,
    settings: RunSettings,
    monitor: Monitor,
    *,
    areas: Optional[Sequence[ScanArea]] = None,
    volume: bool = True,
    items: bool = True,
    cache: Optional[AreaCache] = None,
    runner: Runner = run_on_cores,
    take: Optional[Take] = None,
) -> None:
    """Computes the areas of `result` and adds to it what they give, in the order of the survey, however they were run.

    Parameters
    ----------
    areas : sequence of ScanArea, optional
        Some of the survey's areas; all by default.
    volume, items : bool
        As in `AreaTask`.
    cache : AreaCache, optional
        Where results are looked for and kept; without it they are not kept beyond this call.
    take : callable, optional
        Called with each area and its result, after it was added and before it is dropped: one area at a time is in memory.

    Raises
    ------
    ProcessingError
        Every area failed. One that fails becomes an entry of `result.failures` and a finding.
    MissingPackageError, Cancelled
    """
    with packages(), _cache_or_none(cache) as kept:
        chosen = result.survey.areas if areas is None else areas
        tasks = [task_of(result, area, settings, monitor, volume, items) for area in chosen]
        _AreasAtWork(result, chosen, tasks, kept, take).run(runner, monitor)


@contextmanager
def _cache_or_none(cache: Optional[AreaCache]) -> Iterator[AreaCache]:
    if cache is not None:
        yield cache
        return
    with TemporaryDirectory(prefix="inslab-") as folder:
        yield AreaCache(folder)


def task_of(
    result: ChainResult,
    area: ScanArea,
    settings: RunSettings,
    monitor: Monitor,
    volume: bool = True,
    items: bool = True,
) -> AreaTask:
    """The task of one area of `result`; a wave speed that `result` has already is taken as it is."""
    speed = result.wave_speeds.get(area.area_id)
    known = () if speed is not None else known_depths(result, monitor)
    return AreaTask(
        bare(area),
        tuple(one for one in known if one.area_id == area.area_id),
        speed,
        settings.cell_m,
        settings.depth_step_m,
        settings.max_depth_m,
        settings.mending,
        volume,
        items,
    )


class _AreasAtWork:
    """The areas of one call: what was found in the cache or done by a runner is kept, and taken over in the survey's order."""

    def __init__(
        self,
        result: ChainResult,
        areas: Sequence[ScanArea],
        tasks: Sequence[AreaTask],
        cache: AreaCache,
        take: Optional[Take],
    ):
        self._result, self._areas, self._tasks, self._cache, self._take = result, areas, tasks, cache, take
        self._keys: List[str] = []
        self._at_hand: Dict[int, Optional[AreaResult]] = {}  # None: in the cache
        self._next = 0

    def run(self, runner: Runner, monitor: Monitor) -> None:
        tasks, open_numbers = self._tasks, []
        for number, task in enumerate(tasks):
            monitor.step(0.02 * number / len(tasks))
            self._keys.append(self._cache.key(task))
            if self._cache.find(self._keys[number]) is None:
                open_numbers.append(number)
            else:
                self._at_hand[number] = None
        known = set(self._at_hand)
        if known:
            count = len(known)
            monitor.log(tr("{count} of {all} areas are unchanged since an earlier run.", count=count, all=len(tasks)))

        def accept(place: int, content: bytes) -> None:
            number = open_numbers[place]
            found = from_bytes(content)
            if found.missing:
                raise MissingPackageError(found.missing)
            kept = not found.failure and self._cache.keep(self._keys[number], found, tasks[number])
            self._at_hand[number] = None if kept else found
            self._take_over(known, monitor)

        self._take_over(known, monitor)
        if open_numbers:
            runner([task_text(tasks[number]) for number in open_numbers], accept, monitor.part(0.02, 1.0))
        failures = self._result.failures
        if tasks and len(failures) == len(tasks):
            area_id, reason = next(iter(failures.items()))
            raise ProcessingError(
                tr(
                    "No scan area could be processed; the first of {count}, {area}: {reason}",
                    count=len(tasks),
                    area=area_id,
                    reason=reason,
                )
            )

    def _take_over(self, known, monitor: Monitor) -> None:
        """Adds to the run's result what the areas gave, as far as those before them are done."""
        while self._next in self._at_hand:
            number, area = self._next, self._areas[self._next]
            found = self._at_hand.pop(number) or self._cache.find(self._keys[number])
            if found is None:
                raise ProcessingError(
                    tr(
                        "The results kept in {folder} were changed during the run; run this again.",
                        folder=self._cache.folder,
                    )
                )
            monitor.log(
                tr(
                    "Area {area} ({number} of {all}): {lines} lines.",
                    area=area.area_id,
                    number=number + 1,
                    all=len(self._areas),
                    lines=len(area.lines),
                )
            )
            self._add(area, found, monitor, {} if number in known else found.seconds)
            if self._take is not None:
                self._take(area, found)
            self._next += 1

    def _add(self, area: ScanArea, found: AreaResult, monitor: Monitor, seconds: Dict[str, float]) -> None:
        result, area_id = self._result, area.area_id
        tell(found, monitor)
        result.findings.extend(found.findings)
        if found.speed is not None:
            result.wave_speeds[area_id] = found.speed
        if found.depths is not None:
            result.depths[area_id] = found.depths
        result.picks.extend(found.picks)
        result.area_items.extend(found.items)
        for step, time in seconds.items():
            result.seconds[step] = result.seconds.get(step, 0.0) + time
        if found.failure:
            _note_failure(result, area_id, found.failure, monitor)


def each_area(result: ChainResult, work: Callable[[ScanArea, Monitor], None], monitor: Monitor) -> None:
    """Calls `work(area, monitor)` for every area, here and now; one that fails becomes an entry of `result.failures` and a finding.

    Raises `ProcessingError` if all fail; `Cancelled` and `MissingPackageError` go through.
    """
    areas = result.survey.areas
    for number, area in enumerate(areas):
        monitor.step(number / len(areas))
        try:
            work(area, monitor.part(number / len(areas), (number + 1) / len(areas)))
        except (Cancelled, MissingPackageError):
            raise
        except Exception as error:
            _note_failure(result, area.area_id, sentence(error, area.area_id, monitor.log), monitor)
    if len(result.failures) == len(areas):
        area_id, reason = next(iter(result.failures.items()))
        raise ProcessingError(
            tr(
                "No scan area could be processed; the first of {count}, {area_id}: {reason}",
                count=len(areas),
                area_id=area_id,
                reason=reason,
            )
        )


def tell(found: AreaResult, monitor: Monitor) -> None:
    """What the work on an area had to tell."""
    for kind, text in found.said:
        (monitor.warn if kind == "warn" else monitor.log)(text)


def prepare(result: ChainResult, area: ScanArea, settings: RunSettings, monitor: Monitor):
    """Mended, aligned and levelled lines of an area, here and now (`radar.preprocessing.PreparedArea`)."""
    found = AreaResult(area.area_id)
    prepared = compute.prepare(AreaTask(area, mending=settings.mending), found, monitor)
    result.findings.extend(found.findings)
    tell(found, monitor)
    return prepared


def wave_speed(result: ChainResult, prepared, monitor: Monitor) -> WaveSpeed:
    """The area's wave speed: the one that `result` has already, or an estimate here and now, which is kept there."""
    area = prepared.area
    if area.area_id not in result.wave_speeds:
        task, found = task_of(result, area, RunSettings(), monitor), AreaResult(area.area_id)
        result.wave_speeds[area.area_id] = compute.wave_speed(task, prepared, found, monitor)
        result.findings.extend(found.findings)
        tell(found, monitor)
    return result.wave_speeds[area.area_id]


def _note_failure(result: ChainResult, area_id: str, text: str, monitor: Monitor) -> None:
    result.failures[area_id] = text
    result.note("error", tr("area {area_id}", area_id=area_id), text)
    monitor.warn(tr("Area {area} gives no complete result: {reason}", area=area_id, reason=text))


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


def _shadows(result: ChainResult, area: ScanArea) -> List[Shadow]:
    """Ground of an area that is seen less deep than the rest, in its local grid, the shallowest first."""
    shadows = drowned_ground(result.depths[area.area_id].shallow)
    speed = result.wave_speeds.get(area.area_id)
    if speed is not None:
        own = [item for item in result.area_items if item.area_ids[0] == area.area_id]
        shadows += find_shadows(own, speed.speed_m_ns / area.centre_frequency_ghz)
    return sorted(shadows, key=lambda shadow: shadow.depth_m)


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
    with timed(result.seconds, "join"), packages():
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
