"""The whole chain: a survey folder in, depth slices, items and a report out.

Areas are computed on all cores, and their arrays are held one area at a time. An area that fails is named, and the others still
run.
"""

from dataclasses import replace
from pathlib import Path
from typing import Dict

from ..area.cache import CACHE_FOLDER, AreaCache
from ..area.compute import AreaResult, timed
from ..area.runners import Runner, run_on_cores
from ..area.settings import RunSettings
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.steps import (
    DEPTH_SLICES,
    DETECT_ITEMS,
    ESTIMATE_SPEED,
    FIT_AREAS,
    JOIN_ITEMS,
    READ_SURVEY,
    WRITE_REPORT,
)
from ..edits import settling
from ..floor import areas, fitting, joining
from ..floor.result import StepResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..store import layers, reading
from ..store.publish import publish, staging_folder, write_text
from ..store.rasters import RasterStore
from ..store.replacing import check_replaceable
from ..survey.model import ScanArea
from .shared.survey_run import REPORT_FILE, SURVEY_FILE, CheckedLater, end_anew, found_layers


def process_survey_step(
    survey_folder,
    output_folder,
    settings: RunSettings = RunSettings(),
    runner: Runner = run_on_cores,
    monitor: Monitor = Monitor(),
) -> StepResult:
    """The whole chain: reads `survey_folder` and writes survey.gpkg, slices/, base/ and report.html into `output_folder`.

    Everything is written to a temporary folder first and moved into place at the end; rasters of an earlier result that the
    new one does not have are removed, files that are not Inslab's are left alone. Results of areas are kept in a hidden folder
    there (`area.cache`): areas that have not changed, or that a run that was broken off had done, are not computed again.
    `runner` says where areas are computed (`area.runners`).
    Raises `SurveyError` (nothing usable to read), `ProcessingError` (no area gave a result, or the output cannot be replaced),
    `MissingPackageError`, `Cancelled`.
    """
    settings.check()
    output = Path(output_folder)
    check_replaceable(output / SURVEY_FILE)
    earlier = reading.read_raster_paths(output / SURVEY_FILE)
    begun = CheckedLater(survey_folder, output / SURVEY_FILE, settings, monitor.part(0.0, 0.05))
    cache = AreaCache(output / CACHE_FOLDER, begun.read.fingerprints)
    seconds: Dict[str, float] = {}
    with staging_folder(output) as staging:
        store = RasterStore(staging, begun.read.crs_wkt, settings.cell_m)

        def take(area: ScanArea, own: AreaResult) -> None:
            begun.take(area, own)
            if own.volume is not None:
                store.keep(area, own.volume, own.base)

        part = monitor.part(0.05, 0.83)
        found = areas.work_areas(
            begun.read, begun.found, settings, part, check=True, cache=cache, runner=runner, take=take
        )
        read, found = begun.finish(found)
        found = fitting.fit_with_items(read, found, settings.fit, monitor)
        found = joining.place_and_join(read, found, monitor.part(0.83, 0.86))
        with timed(seconds, "mosaic"):
            monitor.log(tr("Joining the areas' depth slices into one mosaic for each level."))
            rasters = store.finish(read.survey.areas, found.fits, monitor.part(0.86, 0.98))
        monitor.step(0.98)
        with timed(seconds, "write"):
            found = settling.settle(read, found, monitor)
            steps = [
                (READ_SURVEY, {"sample_interval_ns": settings.sample_interval_ns}),
                (FIT_AREAS, settings.of_fit()),
                (ESTIMATE_SPEED, {**settings.of_lines(), "known_depths": len(read.known_depths)}),
                (DETECT_ITEMS, settings.of_lines()),
                (FIT_AREAS, {**settings.of_fit(), "item_ties": True}),
                (JOIN_ITEMS, {}),
                (DEPTH_SLICES, settings.of_slices()),
                (WRITE_REPORT, {}),
            ]
            further = [layers.wave_speed_layer(found.wave_speeds), *layers.speed_evidence(found.wave_speeds)]
            further += found_layers(read, found)
            further.append(layers.raster_layer(rasters, staging))
            end_anew(read, found, staging / SURVEY_FILE, further, settings.sample_interval_ns, steps)
            report = run_report(staging / SURVEY_FILE, found.site_fit, found.failures)
            write_text(staging / REPORT_FILE, paper_html(report))
            monitor.step(0.99)  # the last chance to cancel
            publish(staging, output, earlier)
    cache.clean()
    rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    monitor.progress(1.0)
    return StepResult(read, found.taking(seconds), rasters, output / REPORT_FILE)
