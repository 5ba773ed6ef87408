"""Items joined across areas again, by the present fits."""

from dataclasses import replace

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.steps import JOIN_ITEMS
from ..edits import hand_edits, settling
from ..floor import joining
from ..floor.result import StepResult
from ..store import fit_layers, reading
from ..store.geopackage import check_layers
from ..store.locks import changes_survey
from ..store.schema import AREA_ITEMS, DISMISSED, ITEMS, LAST_WRITTEN, PICKS
from .shared.survey_run import SAID_OF_ITEMS, begin_again, end_again, found_layers


@changes_survey
def join_items_step(survey_path, monitor: Monitor = Monitor()) -> StepResult:
    """Places the items of each area by the present fits, joins them across areas and rewrites `picks`, `items` and `coverage`.

    Starts from what each area for itself shows (`area_items`), so that it can be run as often as wanted.
    Raises `ProcessingError` where items were not detected yet.
    """
    read, found = begin_again(survey_path, monitor.part(0.0, 0.5))
    depths = reading.read_area_depths(survey_path)
    if not depths:
        raise ProcessingError(
            tr(
                "{survey_path} has no items yet; run 'Detect items' or 'Process a survey' first.",
                survey_path=survey_path,
            )
        )
    check_layers(survey_path, (AREA_ITEMS, ITEMS, PICKS, DISMISSED, LAST_WRITTEN))
    area_items = tuple(reading.read_area_items(survey_path))
    picks = hand_edits.read_edits(survey_path).computed_picks
    found = replace(found, depths=depths, area_items=area_items, picks=picks)
    found = joining.place_and_join(read, found, monitor.part(0.5, 0.9))
    found = settling.settle(read, found, monitor)
    seams = fit_layers.seam_layer(read.areas, found.seams)
    monitor.step(0.95)
    end_again(read, found, [*found_layers(read, found), seams], [(JOIN_ITEMS, {})], said_anew=SAID_OF_ITEMS)
    return StepResult(read, found)
