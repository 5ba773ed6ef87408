"""The whole chain: a survey folder in, depth slices, items and a report out.

Areas are computed on all cores, and their arrays are held one area at a time. An area that fails is named, and the others still
run.
"""

from dataclasses import replace
from pathlib import Path

from ..area import compute
from ..area.cache import CACHE_FOLDER, AreaCache
from ..area.compute import AreaResult
from ..area.runners import Runner, run_on_cores
from ..area.settings import RunSettings
from ..common.language import tr
from ..common.monitor import Monitor
from ..edits import settling
from ..floor import areas, fitting
from ..floor.result import ChainResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..store import layers, reading
from ..store.geopackage import check_replaceable
from ..store.publish import publish, staging_folder, write_text
from ..store.rasters import RasterStore
from ..survey.model import ScanArea
from .shared.survey_run import (
    REPORT_FILE,
    SURVEY_FILE,
    found_layers,
    start,
    write_survey,
)


def process_survey_step(
    survey_folder,
    output_folder,
    settings: RunSettings = RunSettings(),
    runner: Runner = run_on_cores,
    monitor: Monitor = Monitor(),
) -> ChainResult:
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
    cache = AreaCache(output / CACHE_FOLDER)
    check_replaceable(output / SURVEY_FILE)
    earlier = reading.read_raster_paths(output / SURVEY_FILE)
    result = start(survey_folder, output / SURVEY_FILE, settings, monitor.part(0.0, 0.05))
    with staging_folder(output) as staging:
        store = RasterStore(staging, result.crs_wkt, settings.cell_m)

        def keep_slices(area: ScanArea, found: AreaResult) -> None:
            if found.volume is not None:
                store.keep(area, found.volume, found.base)

        areas.work_areas(result, settings, monitor.part(0.05, 0.83), cache=cache, runner=runner, take=keep_slices)
        fitting.fit_with_items(result, settings.fit, monitor)
        areas.place_and_join(result, monitor.part(0.83, 0.86))
        with compute.timed(result.seconds, "mosaic"):
            monitor.log(tr("Joining the areas' depth slices into one mosaic for each level."))
            rasters = store.finish(result.survey.areas, result.fits, monitor.part(0.86, 0.98))
        monitor.step(0.98)
        with compute.timed(result.seconds, "write"):
            settling.settle(result, monitor)
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
            found += found_layers(result)
            found.append(layers.raster_layer(rasters, staging))
            write_survey(result, staging / SURVEY_FILE, found, settings.sample_interval_ns, steps)
            report = run_report(staging / SURVEY_FILE, result.site_fit, result.failures)
            write_text(staging / REPORT_FILE, paper_html(report))
            monitor.step(0.99)  # the last chance to cancel
            publish(staging, output, earlier)
    cache.clean()
    result.rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    result.report_path = output / REPORT_FILE
    monitor.progress(1.0)
    return result
