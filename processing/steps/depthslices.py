"""Depth slices and slab base of every area and level."""

from dataclasses import replace
from pathlib import Path
from typing import Dict

from ..area.compute import AreaResult, timed
from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..common.vocabulary.steps import DEPTH_SLICES
from ..floor import areas
from ..floor.result import StepResult
from ..store import layers, reading
from ..store.locks import changes_survey
from ..store.publish import publish, staging_folder
from ..store.rasters import RasterStore
from ..survey.model import ScanArea
from .shared.survey_run import begin_again, end_again


@changes_survey
def depth_slices_step(
    survey_path, output_folder, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()
) -> StepResult:
    """Writes depth slices and slab base of the survey in `survey_path` into `output_folder` (slices/, base/).

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    The sample interval is the one that the survey was read with (`settings.sample_interval_ns` is not used).
    """
    settings.check()
    read, found = begin_again(survey_path, monitor.part(0.0, 0.1))
    output = Path(output_folder)
    with staging_folder(output) as staging:
        store = RasterStore(staging, read.crs_wkt, settings.cell_m)

        def keep_slices(area: ScanArea, own: AreaResult) -> None:
            if own.volume is not None:
                store.keep(area, own.volume, own.base)

        fitted = [area for area in read.survey.areas if found.fits[area.area_id].is_fitted]
        read, found = areas.with_known_depths(read, found, monitor, areas=fitted)
        found = areas.work_areas(
            read, found, settings, monitor.part(0.1, 0.85), areas=fitted, items=False, take=keep_slices
        )
        seconds: Dict[str, float] = {}
        with timed(seconds, "mosaic"):
            rasters = store.finish(read.survey.areas, found.fits, monitor.part(0.85, 0.98))
        monitor.step(0.99)
        publish(staging, output, reading.read_raster_paths(survey_path))
    rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    listed = layers.raster_layer(rasters, Path(survey_path).parent)
    end_again(read, found, [listed], [(DEPTH_SLICES, settings.of_slices())])
    return StepResult(read, found.taking(seconds), rasters)
