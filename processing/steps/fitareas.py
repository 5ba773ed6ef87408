"""All areas fitted to the site grid again, and what their places decide."""

from dataclasses import replace
from pathlib import Path

from ..common.monitor import Monitor
from ..common.vocabulary.steps import FIT_AREAS, JOIN_ITEMS
from ..edits import hand_edits, settling
from ..floor import fitting, joining
from ..floor.result import StepResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..site.results import FitSettings
from ..store import layers, reading
from ..store.locks import changes_survey
from ..store.publish import check_text_can_be_written, write_text
from .shared.survey_run import SAID_OF_ITEMS, begin_again, end_again, found_layers, layers_of_fit


@changes_survey
def fit_areas_step(
    survey_path,
    report_path=None,
    fit: FitSettings = FitSettings(),
    item_ties: bool = True,
    ties_path=None,
    monitor: Monitor = Monitor(),
) -> StepResult:
    """Fits all areas of the survey in `survey_path` together and updates everything in it that their places decide.

    `item_ties` also ties areas by the straight items that both see, once items were detected; `ties_path` names another table of
    ties than the survey folder's. Depth slices stay as they are: a finding says so where they no longer fit.
    """
    if report_path:
        check_text_can_be_written(report_path)
    read, found = begin_again(survey_path, monitor.part(0.0, 0.5))
    before = found.fits
    # What the earlier fit and the earlier look at the survey said is said anew.
    earlier = reading.read_findings(survey_path, but_of=(fitting.WHERE, *SAID_OF_ITEMS))
    read, found = fitting.read_given(read, replace(found, findings=tuple(earlier)), monitor, ties_path)
    found = fitting.fit(read, found, fit, monitor)
    edits = hand_edits.read_edits(survey_path)
    found = replace(found, picks=edits.computed_picks)
    if item_ties:
        found = fitting.fit_with_items(read, found, fit, monitor)
    monitor.step(0.6)
    changed = layers.survey_layers(read.survey, found.fits)
    area_items, depths = reading.read_area_items(survey_path), reading.read_area_depths(survey_path)
    found = replace(found, area_items=tuple(area_items), depths=depths)
    steps = [(FIT_AREAS, {**fit.as_parameters(), "item_ties": item_ties})]
    if depths or edits:
        found = joining.place_and_join(read, found, monitor.part(0.6, 0.9))
        found = settling.settle(read, found, monitor)
        changed += found_layers(read, found)
        steps.append((JOIN_ITEMS, {}))
    found = fitting.note_moved_rasters(read, found, before, reading.read_raster_paths(survey_path), monitor)
    changed += layers_of_fit(read, found)
    monitor.step(0.95)
    end_again(read, found, changed, steps, keep_findings=False)
    if report_path:
        write_text(Path(report_path), paper_html(run_report(survey_path, found.site_fit)))
    return StepResult(read, found, report_path=Path(report_path) if report_path else None)
