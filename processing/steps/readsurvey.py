"""Reading and checking a survey."""

from pathlib import Path

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..edits import settling
from ..floor.result import ChainResult
from ..reports.page import paper_html
from ..reports.survey_report import run_report
from ..store.locks import changes_survey
from ..store.publish import write_text
from .shared.survey_run import (
    found_layers,
    start,
    write_survey,
)


@changes_survey
def read_survey_step(
    survey_folder,
    survey_path,
    report_path=None,
    settings: RunSettings = RunSettings(),
    monitor: Monitor = Monitor(),
) -> ChainResult:
    """Reads and checks a survey, fits its areas and writes a new GeoPackage `survey_path` (areas, lines, control points,
    findings, run log) and, if wanted, an HTML report. An existing file at `survey_path` is replaced.
    """
    result = start(survey_folder, Path(survey_path), settings, monitor.part(0.0, 0.95))
    interval = settings.sample_interval_ns
    steps = [("read survey", {"sample_interval_ns": interval}), ("fit areas", settings.of_fit())]
    settling.settle(result, monitor)
    found = found_layers(result) if result.by_hand or result.drawn_picks or result.dismissed else []
    write_survey(result, result.survey_path, found, interval, steps)
    if report_path:
        result.report_path = Path(report_path)
        write_text(result.report_path, paper_html(run_report(result.survey_path, result.site_fit)))
    return result
