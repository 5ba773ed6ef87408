"""Depth slices and slab base of every area and level."""

from dataclasses import replace
from pathlib import Path

from ..area import compute
from ..area.compute import AreaResult
from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..floor import areas
from ..floor.result import ChainResult
from ..store import layers, reading
from ..store.locks import changes_survey
from ..store.publish import publish, staging_folder
from ..store.rasters import RasterStore
from ..survey.model import ScanArea
from .shared.survey_run import (
    reopen,
    update_survey,
)


@changes_survey
def depth_slices_step(
    survey_path, output_folder, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()
) -> ChainResult:
    """Writes depth slices and slab base of the survey in `survey_path` into `output_folder` (slices/, base/).

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    The sample interval is the one that the survey was read with (`settings.sample_interval_ns` is not used).
    """
    settings.check()
    result = reopen(survey_path, monitor.part(0.0, 0.1))
    output = Path(output_folder)
    with staging_folder(output) as staging:
        store = RasterStore(staging, result.crs_wkt, settings.cell_m)

        def keep_slices(area: ScanArea, found: AreaResult) -> None:
            if found.volume is not None:
                store.keep(area, found.volume, found.base)

        fitted = [area for area in result.survey.areas if result.fits[area.area_id].is_fitted]
        areas.work_areas(result, settings, monitor.part(0.1, 0.85), areas=fitted, items=False, take=keep_slices)
        with compute.timed(result.seconds, "mosaic"):
            rasters = store.finish(result.survey.areas, result.fits, monitor.part(0.85, 0.98))
        monitor.step(0.99)
        publish(staging, output, reading.read_raster_paths(survey_path))
    result.rasters = tuple(replace(file, path=output / file.path.relative_to(staging)) for file in rasters)
    listed = layers.raster_layer(result.rasters, Path(survey_path).parent)
    update_survey(result, [listed], [("depth slices", settings.of_slices())])
    return result
