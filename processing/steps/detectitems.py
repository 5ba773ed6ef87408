"""Items of every area, joined across areas."""

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..edits import settling
from ..floor import areas
from ..floor.result import ChainResult
from ..store import fit_layers
from ..store.locks import changes_survey
from .shared.survey_run import SAID_OF_ITEMS, found_layers, reopen, update_survey


@changes_survey
def detect_items_step(survey_path, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()) -> ChainResult:
    """Detects items in every area, joins them across areas and writes `picks`, `items` and `coverage` into `survey_path`.

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    """
    settings.check()
    result = reopen(survey_path, monitor.part(0.0, 0.1))
    areas.work_areas(result, settings, monitor.part(0.1, 0.9), volume=False)
    areas.place_and_join(result, monitor.part(0.9, 0.98))
    settling.settle(result, monitor)
    seams = fit_layers.seam_layer(result.areas, result.seams)
    steps = [("detect items", settings.of_lines()), ("join items", {})]
    update_survey(result, [*found_layers(result), seams], steps, said_anew=SAID_OF_ITEMS)
    return result
