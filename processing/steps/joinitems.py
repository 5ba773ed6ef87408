"""Items joined across areas again, by the present fits."""

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..edits import hand_edits, settling
from ..floor import areas
from ..floor.result import ChainResult
from ..store import fit_layers, reading
from ..store.locks import changes_survey
from .shared.survey_run import SAID_OF_ITEMS, found_layers, reopen, update_survey


@changes_survey
def join_items_step(survey_path, monitor: Monitor = Monitor()) -> ChainResult:
    """Places the items of each area by the present fits, joins them across areas and rewrites `picks`, `items` and `coverage`.

    Starts from what each area for itself shows (`area_items`), so that it can be run as often as wanted.
    Raises `ProcessingError` where items were not detected yet.
    """
    result = reopen(survey_path, monitor.part(0.0, 0.5))
    result.depths = reading.read_area_depths(result.survey_path)
    if not result.depths:
        raise ProcessingError(
            tr(
                "{survey_path} has no items yet; run 'Detect items' or 'Process a survey' first.",
                survey_path=result.survey_path,
            )
        )
    result.area_items = reading.read_area_items(result.survey_path)
    result.picks = list(hand_edits.read_edits(result.survey_path).computed_picks)
    areas.place_and_join(result, monitor.part(0.5, 0.9))
    settling.settle(result, monitor)
    seams = fit_layers.seam_layer(result.areas, result.seams)
    monitor.step(0.95)
    update_survey(result, [*found_layers(result), seams], [("join items", {})], said_anew=SAID_OF_ITEMS)
    return result
