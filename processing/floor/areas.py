"""How the areas of a survey are gone through, one by one or on all cores; what is done with one stands in `area.compute`."""

from contextlib import contextmanager
from dataclasses import replace
from tempfile import TemporaryDirectory
from typing import Callable, Dict, Iterator, List, Mapping, Optional, Sequence, Tuple

from ..area.cache import AreaCache
from ..area.compute import AreaResult, AreaTask, Use, bare, work_area
from ..area.plain_data import from_bytes
from ..area.runners import Runner, run_on_cores, task_text
from ..area.settings import RunSettings
from ..common.errors import MissingPackageError, ProcessingError
from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..common.packages import packages
from ..survey.model import Finding, ScanArea
from .result import Found, SurveyRead

Take = Callable[[ScanArea, AreaResult], None]


def work_areas(
    read: SurveyRead,
    found: Found,
    settings: RunSettings,
    monitor: Monitor,
    *,
    areas: Optional[Sequence[ScanArea]] = None,
    volume: bool = True,
    items: bool = True,
    check: bool = False,
    cache: Optional[AreaCache] = None,
    runner: Runner = run_on_cores,
    take: Optional[Take] = None,
) -> Found:
    """Computes areas; returns `found` with what they give, in the order of the survey, however they were run.

    Parameters
    ----------
    areas : sequence of ScanArea, optional
        Some of the survey's areas; all by default.
    volume, items, check : bool
        As in `AreaTask`. An area whose lines `check` rules out, one and all, gives nothing, and is none that failed.
    cache : AreaCache, optional
        Where results are looked for and kept; without it they are not kept beyond this call.
    take : callable, optional
        Called with each area and its result, after it was added and before it is dropped: one area at a time is in memory.

    Raises
    ------
    ProcessingError
        Every area failed. One that fails becomes an entry of `Found.failures` and a finding.
    MissingPackageError, Cancelled
    """
    with packages(), _cache_or_none(cache, read) as kept:
        chosen = read.survey.areas if areas is None else areas
        tasks = [task_of(read, found, area, settings, volume, items, check) for area in chosen]
        return _AreasAtWork(found, chosen, tasks, kept, take).run(runner, monitor)


def use_areas(
    read: SurveyRead, found: Found, settings: RunSettings, use: Callable[[ScanArea], Use], monitor: Monitor
) -> Found:
    """Prepares one area after the other here and now, and hands its lines with its wave speed to `use(area)`.

    For what must see traces and has no result to be kept. Fails as `work_areas` does.
    """
    areas = read.survey.areas
    for number, area in enumerate(areas):
        monitor.step(number / len(areas))
        _tell_area(area, number, len(areas), monitor)
        task = task_of(read, found, area, settings, volume=False, items=False)
        own = work_area(task, monitor.part(number / len(areas), (number + 1) / len(areas)), use(area))
        if own.missing:
            raise MissingPackageError(own.missing)
        found = _with_area(found, area, own, monitor)
    _refuse_if_all_failed(found, areas)
    return found


@contextmanager
def _cache_or_none(cache: Optional[AreaCache], read: SurveyRead) -> Iterator[AreaCache]:
    if cache is not None:
        yield cache
        return
    with TemporaryDirectory(prefix="inslab-") as folder:
        yield AreaCache(folder, read.fingerprints)


def task_of(
    read: SurveyRead,
    found: Found,
    area: ScanArea,
    settings: RunSettings,
    volume: bool = True,
    items: bool = True,
    check: bool = False,
) -> AreaTask:
    """The task of one area; a wave speed that `found` has already is taken as it is."""
    speed = found.wave_speeds.get(area.area_id)
    known = (read.known_depths or ()) if speed is None else ()
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
        check,
    )


class _AreasAtWork:
    """The areas of one call: what was found in the cache or done by a runner is kept, and taken over in the survey's order."""

    def __init__(
        self,
        found: Found,
        areas: Sequence[ScanArea],
        tasks: Sequence[AreaTask],
        cache: AreaCache,
        take: Optional[Take],
    ):
        self._found, self._areas, self._tasks, self._cache, self._take = found, areas, tasks, cache, take
        self._keys: List[str] = []
        self._usable: List[ScanArea] = []
        self._at_hand: Dict[int, Optional[AreaResult]] = {}  # None: in the cache
        self._next = 0

    def run(self, runner: Runner, monitor: Monitor) -> Found:
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
            own = from_bytes(content)
            if own.missing:
                raise MissingPackageError(own.missing)
            kept = (
                not own.failure and own.speed is not None and self._cache.keep(self._keys[number], own, tasks[number])
            )
            self._at_hand[number] = None if kept else own
            self._take_over(known, monitor)

        self._take_over(known, monitor)
        if open_numbers:
            runner([task_text(tasks[number]) for number in open_numbers], accept, monitor.part(0.02, 1.0))
        _refuse_if_all_failed(self._found, self._usable)
        return self._found

    def _take_over(self, known, monitor: Monitor) -> None:
        """Adds what the areas gave, as far as those before them are done."""
        while self._next in self._at_hand:
            number, area = self._next, self._areas[self._next]
            own = self._at_hand.pop(number) or self._cache.find(self._keys[number])
            if own is None:
                raise ProcessingError(
                    tr(
                        "The results kept in {folder} were changed during the run; run this again.",
                        folder=self._cache.folder,
                    )
                )
            lines = tuple(line for line in area.lines if line.name not in own.refused)
            if lines:
                self._usable.append(area)
                _tell_area(replace(area, lines=lines), number, len(self._areas), monitor)
            if number in known:
                own = replace(own, seconds={})  # it took them in an earlier run
            self._found = _with_area(self._found, area, own, monitor)
            if self._take is not None:
                self._take(area, own)
            self._next += 1


def _tell_area(area: ScanArea, number: int, count: int, monitor: Monitor) -> None:
    monitor.log(
        tr(
            "Area {area} ({number} of {all}): {lines}.",
            area=area.area_id,
            number=number + 1,
            all=count,
            lines=trn("{count} line", "{count} lines", len(area.lines)),
        )
    )


def tell(own: AreaResult, monitor: Monitor) -> None:
    """What the work on an area had to tell."""
    for kind, text in own.said:
        (monitor.warn if kind == "warn" else monitor.log)(text)


def _with_area(found: Found, area: ScanArea, own: AreaResult, monitor: Monitor) -> Found:
    """`found` with what one area gave, or with why it gave nothing."""
    area_id = area.area_id
    tell(own, monitor)
    found = replace(
        found,
        findings=(*found.findings, *own.findings),
        wave_speeds=_with(found.wave_speeds, area_id, own.speed),
        depths=_with(found.depths, area_id, own.depths),
        picks=(*found.picks, *own.picks),
        area_items=(*found.area_items, *own.items),
    ).taking(own.seconds)
    if own.failure:
        found = replace(found, failures={**found.failures, area_id: own.failure})
        found = found.noting(Finding("error", tr("area {area_id}", area_id=area_id), own.failure))
        monitor.warn(tr("Area {area} gives no complete result: {reason}", area=area_id, reason=own.failure))
    return found


def _with(values: Mapping, area_id: str, value) -> Mapping:
    return values if value is None else {**values, area_id: value}


def _refuse_if_all_failed(found: Found, areas: Sequence[ScanArea]) -> None:
    if areas and len(found.failures) == len(areas):
        area_id, reason = next(iter(found.failures.items()))
        raise ProcessingError(
            tr(
                "No scan area could be processed; the first of {count}, {area}: {reason}",
                count=len(areas),
                area=area_id,
                reason=reason,
            )
        )


def with_known_depths(
    read: SurveyRead, found: Found, monitor: Monitor, path=None, areas: Optional[Sequence[ScanArea]] = None
) -> Tuple[SurveyRead, Found]:
    """With the known depths of the survey folder, or of the table at `path`, and with what was noticed in it.

    As they are where `areas` (all by default) have wave speeds already: nobody asks for known depths then.
    """
    chosen = read.survey.areas if areas is None else areas
    if read.known_depths is not None or all(area.area_id in found.wave_speeds for area in chosen):
        return read, found
    from ..items.known_depths import read_known_depths

    findings: List[Finding] = []
    known = tuple(read_known_depths(read.survey.folder, read.areas, findings, path))
    for one in findings:
        monitor.warn(f"{one.where}: {one.text}")
    return replace(read, known_depths=known), found.noting(*findings)
