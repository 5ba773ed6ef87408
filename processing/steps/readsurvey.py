"""Reading and checking a survey."""

from pathlib import Path

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..common.vocabulary.steps import FIT_AREAS, READ_SURVEY
from ..edits import settling
from ..floor.result import StepResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..store.locks import changes_survey
from ..store.publish import check_text_can_be_written, write_text
from .shared.survey_run import begin_anew, end_anew, found_layers


@changes_survey
def read_survey_step(
    survey_folder,
    survey_path,
    report_path=None,
    settings: RunSettings = RunSettings(),
    monitor: Monitor = Monitor(),
) -> StepResult:
    """Reads and checks a survey, fits its areas and writes a new GeoPackage `survey_path` (areas, lines, control points,
    findings, run log) and, if wanted, an HTML report. An existing file at `survey_path` is replaced.
    """
    if report_path:
        check_text_can_be_written(report_path)
    read, found = begin_anew(survey_folder, survey_path, settings, monitor.part(0.0, 0.95))
    interval = settings.sample_interval_ns
    steps = [(READ_SURVEY, {"sample_interval_ns": interval}), (FIT_AREAS, settings.of_fit())]
    found = settling.settle(read, found, monitor)
    edited = found.by_hand or found.drawn_picks or found.dismissed
    end_anew(read, found, read.survey_path, found_layers(read, found) if edited else [], interval, steps)
    if report_path:
        write_text(Path(report_path), paper_html(run_report(read.survey_path, found.site_fit)))
    return StepResult(read, found, report_path=Path(report_path) if report_path else None)
