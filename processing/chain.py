"""The steps of the main job, composed: a survey folder in, depth slices, items and a report out.

Every function here is one call for one Processing algorithm, takes plain paths and a `Monitor`, and leaves earlier results
as they were when it is cancelled or fails. Areas are computed on all cores, and their arrays are held one area at a time. An area
that fails is named, and the others still run.
"""

from dataclasses import replace
from pathlib import Path
from typing import List, Mapping, Sequence, Tuple

from .errors import ProcessingError
from .language import tr
from .monitor import Monitor
from .outputs import (
    area_task,
    area_work,
    fingerprints,
    fit_layers,
    fitting,
    hand_edits,
    item_layers,
    keeping,
    layers,
    stored,
)
from .outputs.area_cache import CACHE_FOLDER, AreaCache
from .outputs.area_runners import Runner, run_on_cores
from .outputs.area_task import AreaResult
from .outputs.bridged import bridged_layer
from .outputs.folder_lock import changes_survey
from .outputs.geopackage import Layer, check_replaceable, read_layer, replace_layers, write_geopackage
from .outputs.mats import find_all_mats, mat_layer
from .outputs.publish import publish, staging_folder, write_text
from .outputs.radargram_picture import draw, import_matplotlib
from .outputs.radargrams import PANELS, choose_lines, compose_line, file_name, find_crossings
from .outputs.rasters import RasterStore
from .outputs.report import report_html
from .outputs.result import ChainResult, ChainSettings
from .site.results import FitSettings
from .survey.model import ScanArea
from .survey.read import read_survey

SURVEY_FILE, REPORT_FILE = "survey.gpkg", "report.html"
SAID_OF_ITEMS = (keeping.HAND, keeping.JOINING)


def process_survey(
    survey_folder,
    output_folder,
    settings: ChainSettings = ChainSettings(),
    monitor: Monitor = Monitor(),
    runner: Runner = run_on_cores,
) -> ChainResult:
    """The whole chain: reads `survey_folder` and writes survey.gpkg, slices/, base/ and report.html into `output_folder`.

    Everything is written to a temporary folder first and moved into place at the end; rasters of an earlier result that the
    new one does not have are removed, files that are not Inslab's are left alone. Results of areas are kept in a hidden folder
    there (`outputs.area_cache`): areas that have not changed, or that a run that was broken off had done, are not computed again.
    `runner` says where areas are computed (`outputs.area_runners`).
    Raises `SurveyError` (nothing usable to read), `ProcessingError` (no area gave a result, or the output cannot be replaced),
    `MissingPackageError`, `Cancelled`.
    """
    settings.check()
    output = Path(output_folder)
    cache = AreaCache(output / CACHE_FOLDER)
    check_replaceable(output / SURVEY_FILE)
    earlier = stored.read_raster_paths(output / SURVEY_FILE)
    result = _start(survey_folder, output / SURVEY_FILE, settings, monitor.part(0.0, 0.05))
    with staging_folder(output) as staging:
        store = RasterStore(staging, result.crs_wkt, settings.cell_m)

        def keep_slices(area: ScanArea, found: AreaResult) -> None:
            if found.volume is not None:
                store.keep(area, found.volume, found.base)

        area_work.work_areas(result, settings, monitor.part(0.05, 0.83), cache=cache, runner=runner, take=keep_slices)
        fitting.fit_with_items(result, settings.fit, monitor)
        area_work.place_and_join(result, monitor.part(0.83, 0.86))
        with area_task.timed(result.seconds, "mosaic"):
            monitor.log(tr("Joining the areas' depth slices into one picture for each level."))
            rasters = store.finish(result.survey.areas, result.fits, monitor.part(0.86, 0.98))
        monitor.step(0.98)
        with area_task.timed(result.seconds, "write"):
            keeping.settle(result, monitor)
            steps = [
                ("read survey", {"sample_interval_ns": settings.sample_interval_ns}),
                ("fit areas", settings.of_fit()),
                ("estimate wave speed", {**settings.of_lines(), "known_depths": len(result.known_depths or ())}),
                ("detect items", settings.of_lines()),
                ("fit areas", {**settings.of_fit(), "item_ties": True}),
                ("join items", {}),
                ("depth slices", settings.of_slices()),
                ("write report", {}),
            ]
            found = [layers.wave_speed_layer(result.wave_speeds), *layers.speed_evidence(result.wave_speeds)]
            found += _found_layers(result)
            found.append(layers.raster_layer(rasters, staging))
            _write_survey(result, staging / SURVEY_FILE, found, settings.sample_interval_ns, steps)
            write_text(staging / REPORT_FILE, report_html(result))
            monitor.step(0.99)  # the last chance to cancel
            publish(staging, output, earlier)
    cache.clean()
    result.rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    result.report_path = output / REPORT_FILE
    monitor.progress(1.0)
    return result


@changes_survey
def read_step(
    survey_folder,
    survey_path,
    report_path=None,
    settings: ChainSettings = ChainSettings(),
    monitor: Monitor = Monitor(),
) -> ChainResult:
    """Reads and checks a survey, fits its areas and writes a new GeoPackage `survey_path` (areas, lines, control points,
    findings, run log) and, if wanted, an HTML report. An existing file at `survey_path` is replaced.
    """
    result = _start(survey_folder, Path(survey_path), settings, monitor.part(0.0, 0.95))
    interval = settings.sample_interval_ns
    steps = [("read survey", {"sample_interval_ns": interval}), ("fit areas", settings.of_fit())]
    keeping.settle(result, monitor)
    found = _found_layers(result) if result.by_hand or result.drawn_picks or result.dismissed else []
    _write_survey(result, result.survey_path, found, interval, steps)
    if report_path:
        result.report_path = Path(report_path)
        write_text(result.report_path, report_html(result))
    return result


@changes_survey
def wave_speed_step(
    survey_path, known_depths_path=None, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()
) -> ChainResult:
    """Estimates wave speed and time zero of each area and writes the layer `wave_speeds` into `survey_path`.

    `known_depths_path` names another table of known depths than the survey folder's.
    """
    result = _reopen(survey_path, monitor.part(0.0, 0.1))
    result.wave_speeds.clear()
    known = area_work.known_depths(result, monitor, known_depths_path)
    area_work.work_areas(result, settings, monitor.part(0.1, 0.99), volume=False, items=False)
    steps = [("estimate wave speed", {**settings.of_lines(), "known_depths": len(known)})]
    _update_survey(result, layers.speed_evidence(result.wave_speeds), steps)
    return result


@changes_survey
def depth_slices_step(
    survey_path, output_folder, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()
) -> ChainResult:
    """Writes depth slices and slab base of the survey in `survey_path` into `output_folder` (slices/, base/).

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    The sample interval is the one that the survey was read with (`settings.sample_interval_ns` is not used).
    """
    settings.check()
    result = _reopen(survey_path, monitor.part(0.0, 0.1))
    output = Path(output_folder)
    with staging_folder(output) as staging:
        store = RasterStore(staging, result.crs_wkt, settings.cell_m)

        def keep_slices(area: ScanArea, found: AreaResult) -> None:
            if found.volume is not None:
                store.keep(area, found.volume, found.base)

        fitted = [area for area in result.survey.areas if result.fits[area.area_id].is_fitted]
        area_work.work_areas(result, settings, monitor.part(0.1, 0.85), areas=fitted, items=False, take=keep_slices)
        with area_task.timed(result.seconds, "mosaic"):
            rasters = store.finish(result.survey.areas, result.fits, monitor.part(0.85, 0.98))
        monitor.step(0.99)
        publish(staging, output, stored.read_raster_paths(survey_path))
    result.rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    listed = layers.raster_layer(result.rasters, Path(survey_path).parent)
    _update_survey(result, [listed], [("depth slices", settings.of_slices())])
    return result


@changes_survey
def detect_items_step(
    survey_path, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()
) -> ChainResult:
    """Detects items in every area, joins them across areas and writes `picks`, `items` and `coverage` into `survey_path`.

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    """
    settings.check()
    result = _reopen(survey_path, monitor.part(0.0, 0.1))
    area_work.work_areas(result, settings, monitor.part(0.1, 0.9), volume=False)
    area_work.place_and_join(result, monitor.part(0.9, 0.98))
    keeping.settle(result, monitor)
    seams = fit_layers.seam_layer(result.areas, result.seams)
    steps = [("detect items", settings.of_lines()), ("join items", {})]
    _update_survey(result, [*_found_layers(result), seams], steps, said_anew=SAID_OF_ITEMS)
    return result


@changes_survey
def join_items_step(survey_path, monitor: Monitor = Monitor()) -> ChainResult:
    """Places the items of each area by the present fits, joins them across areas and rewrites `picks`, `items` and `coverage`.

    Starts from what each area for itself shows (`area_items`), so that it can be run as often as wanted.
    Raises `ProcessingError` where items were not detected yet.
    """
    result = _reopen(survey_path, monitor.part(0.0, 0.5))
    result.depths = stored.read_area_depths(result.survey_path)
    if not result.depths:
        raise ProcessingError(
            tr(
                "{survey_path} has no items yet; run 'Detect items' or 'Process a survey' first.",
                survey_path=result.survey_path,
            )
        )
    result.area_items = stored.read_area_items(result.survey_path)
    result.picks = list(hand_edits.read_edits(result.survey_path).computed_picks)
    area_work.place_and_join(result, monitor.part(0.5, 0.9))
    keeping.settle(result, monitor)
    seams = fit_layers.seam_layer(result.areas, result.seams)
    monitor.step(0.95)
    _update_survey(result, [*_found_layers(result), seams], [("join items", {})], said_anew=SAID_OF_ITEMS)
    return result


def radargrams_step(
    survey_path, output_folder, lines: str = "", panels: Sequence[str] = PANELS, monitor: Monitor = Monitor()
) -> List[Path]:
    """Draws one picture a line and dipole axis into `output_folder`, with the picks and items that the survey holds.

    `lines` chooses as in `outputs.radargrams.choose_lines`; `panels` are some of its `PANELS`. The survey is not changed. Returns
    the pictures' paths.
    """
    import_matplotlib()
    result = _reopen(survey_path, monitor.part(0.0, 0.1))
    chosen = choose_lines(result.survey, lines)
    result.survey = replace(result.survey, areas=tuple(a for a in result.survey.areas if a.area_id in chosen))
    output = Path(output_folder)
    names = stored.read_joined_ids(survey_path)
    picks, items = stored.read_picks(survey_path), stored.read_area_items(survey_path)
    with staging_folder(output) as staging:

        def work(area: ScanArea, own: Monitor) -> None:
            own.log(tr("Area {area_id}: {count} lines.", area_id=area.area_id, count=len(area.lines)))
            prepared = area_work.prepare(result, area, ChainSettings(), own.part(0.0, 0.2))
            speed = area_work.wave_speed(result, prepared, own.part(0.2, 0.5))
            here = [pick for pick in picks if pick.area_id == area.area_id]
            there = [item for item in items if area.area_id in item.area_ids]
            numbers = [n for n, one in enumerate(prepared.lines) if one.line in chosen[area.area_id]]
            for done, number in enumerate(numbers):
                own.step(0.5 + 0.5 * done / len(numbers))
                line = prepared.lines[number].line
                crossings = find_crossings(area, line, here, there, names)
                draw(compose_line(prepared, number, speed, panels, crossings), staging / file_name(line))

        area_work.each_area(result, work, monitor.part(0.1, 0.98))
        drawn = sorted(path.name for path in staging.iterdir())
        monitor.step(0.99)
        publish(staging, output)
    return [output / name for name in drawn]


@changes_survey
def fit_areas_step(
    survey_path,
    report_path=None,
    fit: FitSettings = FitSettings(),
    item_ties: bool = True,
    ties_path=None,
    monitor: Monitor = Monitor(),
) -> ChainResult:
    """Fits all areas of the survey in `survey_path` together and updates everything in it that their places decide.

    `item_ties` also ties areas by the straight items that both see, once items were detected; `ties_path` names another table of
    ties than the survey folder's. Depth slices stay as they are: a finding says so where they no longer fit.
    """
    result = _reopen(survey_path, monitor.part(0.0, 0.5))
    before = dict(result.fits)
    # What the earlier fit and the earlier look at the survey said is said anew.
    result.findings = stored.read_findings(result.survey_path, but_of=(fitting.WHERE, *SAID_OF_ITEMS))
    fitting.read_given(result, monitor, ties_path)
    fitting.fit(result, fit, monitor)
    edits = hand_edits.read_edits(result.survey_path)
    result.picks = list(edits.computed_picks)
    if item_ties:
        fitting.fit_with_items(result, fit, monitor)
    monitor.step(0.6)
    changed = [*layers.survey_layers(result.survey, result.fits)]
    result.area_items = stored.read_area_items(result.survey_path)
    result.depths = stored.read_area_depths(result.survey_path)
    steps = [("fit areas", {**fit.as_parameters(), "item_ties": item_ties})]
    if result.depths or edits:
        area_work.place_and_join(result, monitor.part(0.6, 0.9))
        keeping.settle(result, monitor)
        changed += _found_layers(result)
        steps.append(("join items", {}))
    fitting.note_moved_rasters(result, before, stored.read_raster_paths(result.survey_path), monitor)
    changed += fit_layers.fit_layers(result.areas, result.site_fit, result.all_observations, result.seams)
    monitor.step(0.95)
    if report_path:
        result.report_path = Path(report_path)
        write_text(result.report_path, report_html(result))
    _update_survey(result, changed, steps, keep_findings=False)
    return result


def _start(survey_folder, survey_path: Path, settings: ChainSettings, monitor: Monitor) -> ChainResult:
    """Read the survey and fit its areas. An earlier result at `survey_path` passes its site grid on."""
    seconds = {}
    with area_task.timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(survey_folder)
        survey = read_survey(Path(survey_folder), settings.sample_interval_ns, monitor)
    monitor.log(
        tr("Read {count} scan areas with {line_count} lines.", count=len(survey.areas), line_count=survey.line_count)
    )
    result = ChainResult(survey_path, survey, seconds=seconds, crs_wkt=stored.read_crs_wkt(survey_path), inputs=inputs)
    result.findings.extend(survey.findings)
    keeping.check_same_survey(survey_path, survey)
    fitting.read_given(result, monitor)
    fitting.fit(result, settings.fit, monitor)
    return result


def _reopen(survey_path, monitor: Monitor) -> ChainResult:
    """The survey that an earlier step wrote to `survey_path`, with the wave speeds it holds."""
    survey_path = Path(survey_path)
    check_replaceable(survey_path)
    seconds = {}
    with area_task.timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(stored.find_survey_folder(survey_path))
        survey = stored.read_stored_survey(survey_path, monitor)
        known = {values["area_id"] for _, values in read_layer(survey_path, "scan_areas")}
    if known != {area.area_id for area in survey.areas}:
        raise ProcessingError(
            tr(
                "The survey folder {folder} has other scan areas than {name}; read the survey again.",
                folder=survey.folder,
                name=survey_path.name,
            )
        )
    speeds = {key: speed for key, speed in stored.read_wave_speeds(survey_path).items() if key in known}
    crs_wkt = stored.read_crs_wkt(survey_path)
    result = ChainResult(survey_path, survey, wave_speeds=speeds, seconds=seconds, crs_wkt=crs_wkt, inputs=inputs)
    result.findings.extend(survey.findings)
    result.fits = stored.read_fits(survey_path, survey)
    return result


def _found_layers(result: ChainResult) -> List[Layer]:
    """What was found, with what a surveyor edited; to be written together, so that later edits are told from it."""
    picks = item_layers.pick_layer(result.picks, result.areas, result.fits, result.joined_as, result.drawn_picks)
    items = item_layers.item_layer(result.items, result.areas, result.fits, result.depths, result.by_hand)
    return [
        picks,
        items,
        bridged_layer(result.items, result.picks, result.areas, result.fits, result.joined_as),
        layers.coverage_layer(result.coverage, result.areas, result.fits),
        item_layers.area_item_layer(result.area_items),
        item_layers.area_depth_layer(result.depths),
        mat_layer(find_all_mats(result)),
        hand_edits.dismissed_layer(result.dismissed),
        hand_edits.last_written_layer(result.items, items, result.picks, picks),
    ]


def _write_survey(result: ChainResult, path: Path, further: Sequence[Layer], sample_interval_ns, steps) -> None:
    """A new GeoPackage at `path`, which may still be on its way to `result.survey_path`."""
    written = [
        *layers.survey_layers(result.survey, result.fits),
        *fit_layers.fit_layers(result.areas, result.site_fit, result.all_observations, result.seams),
        *further,
        layers.finding_layer(result.findings),
        layers.run_log_layer([], steps, fingerprints.summary(result.inputs)),
        fingerprints.input_layer(result.inputs),
    ]
    metadata = layers.survey_metadata(result.survey, result.survey_path, sample_interval_ns, result.crs_wkt)
    write_geopackage(path, written, result.crs_wkt, metadata)


def _update_survey(
    result: ChainResult,
    changed: Sequence[Layer],
    steps: Sequence[Tuple[str, Mapping]],
    keep_findings: bool = True,
    said_anew: Sequence[str] = (),
) -> None:
    """Put what a step found into the GeoPackage it started from; run log and (unless they were taken over) findings grow.

    Earlier findings at one of the places `said_anew` go.
    """
    path = result.survey_path
    earlier = stored.read_findings(path, but_of=said_anew) if keep_findings else []
    findings = [*earlier, *(found for found in result.findings if found not in earlier)]
    grown = [
        layers.wave_speed_layer(result.wave_speeds),
        layers.finding_layer(findings),
        layers.run_log_layer(stored.read_run_log(path), steps, fingerprints.summary(result.inputs)),
        fingerprints.input_layer(result.inputs),
    ]
    replace_layers(path, [*changed, *grown], result.crs_wkt)
