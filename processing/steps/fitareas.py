"""All areas fitted to the site grid again, and what their places decide."""

from pathlib import Path

from ..common.monitor import Monitor
from ..edits import hand_edits, settling
from ..floor import areas, fitting
from ..floor.result import ChainResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..site.results import FitSettings
from ..store import fit_layers, layers, reading
from ..store.locks import changes_survey
from ..store.publish import write_text
from .shared.survey_run import (
    SAID_OF_ITEMS,
    found_layers,
    reopen,
    update_survey,
)


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
    result = reopen(survey_path, monitor.part(0.0, 0.5))
    before = dict(result.fits)
    # What the earlier fit and the earlier look at the survey said is said anew.
    result.findings = reading.read_findings(result.survey_path, but_of=(fitting.WHERE, *SAID_OF_ITEMS))
    fitting.read_given(result, monitor, ties_path)
    fitting.fit(result, fit, monitor)
    edits = hand_edits.read_edits(result.survey_path)
    result.picks = list(edits.computed_picks)
    if item_ties:
        fitting.fit_with_items(result, fit, monitor)
    monitor.step(0.6)
    changed = [*layers.survey_layers(result.survey, result.fits)]
    result.area_items = reading.read_area_items(result.survey_path)
    result.depths = reading.read_area_depths(result.survey_path)
    steps = [("fit areas", {**fit.as_parameters(), "item_ties": item_ties})]
    if result.depths or edits:
        areas.place_and_join(result, monitor.part(0.6, 0.9))
        settling.settle(result, monitor)
        changed += found_layers(result)
        steps.append(("join items", {}))
    fitting.note_moved_rasters(result, before, reading.read_raster_paths(result.survey_path), monitor)
    changed += fit_layers.fit_layers(result.areas, result.site_fit, result.all_observations, result.seams)
    monitor.step(0.95)
    update_survey(result, changed, steps, keep_findings=False)
    if report_path:
        result.report_path = Path(report_path)
        write_text(result.report_path, paper_html(run_report(result.survey_path, result.site_fit)))
    return result
