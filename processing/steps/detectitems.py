"""Items of every area, joined across areas."""

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..common.vocabulary.steps import DETECT_ITEMS, JOIN_ITEMS
from ..edits import settling
from ..floor import areas, joining
from ..floor.result import StepResult
from ..store import fit_layers
from ..store.locks import changes_survey
from .shared.survey_run import SAID_OF_ITEMS, begin_again, end_again, found_layers


@changes_survey
def detect_items_step(survey_path, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()) -> StepResult:
    """Detects items in every area, joins them across areas and writes `picks`, `items` and `coverage` into `survey_path`.

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    """
    settings.check()
    read, found = begin_again(survey_path, monitor.part(0.0, 0.1))
    read, found = areas.with_known_depths(read, found, monitor)
    found = areas.work_areas(read, found, settings, monitor.part(0.1, 0.9), volume=False)
    found = joining.place_and_join(read, found, monitor.part(0.9, 0.98))
    found = settling.settle(read, found, monitor)
    seams = fit_layers.seam_layer(read.areas, found.seams)
    steps = [(DETECT_ITEMS, settings.of_lines()), (JOIN_ITEMS, {})]
    end_again(read, found, [*found_layers(read, found), seams], steps, said_anew=SAID_OF_ITEMS)
    return StepResult(read, found)
