"""The report for a client: what a processed survey holds, on paper."""

import tempfile
from pathlib import Path
from typing import Callable, Mapping, Optional, Sequence, Tuple

from ..common.language import trn
from ..common.monitor import Monitor
from ..common.vocabulary.steps import WRITE_REPORT
from ..record.open_store import is_record
from ..reports.content import MapSheet, Paper
from ..reports.page import paper_html
from ..reports.summary import Cover
from ..reports.survey_report import client_report
from ..store.publish import write_text
from ..views.radargrams import PANELS
from .radargrams import radargrams_step
from .shared.survey_state import file_parameters, note_step, result_parameters

PANEL = (PANELS[1],)  # as processed: what a client can see


def survey_report_step(
    survey_path,
    report_path,
    write_paper: Callable[[Path, Paper, Monitor], int],
    page_path=None,
    draw_map: Optional[Callable[[MapSheet], bytes]] = None,
    cover: Cover = Cover(),
    holes: Sequence[Tuple[object, Mapping]] = (),
    holes_path=None,
    lines: str = "",
    monitor: Monitor = Monitor(),
) -> int:
    """Writes the report on a survey or record, and returns its number of pages.

    Maps and pages are drawn by QGIS, which is not known here: `write_paper` writes the paper to `report_path` and returns its
    number of pages, `draw_map` returns a plan as PNG for the page in a browser at `page_path`. `holes` are rows of penetrations,
    `holes_path` is the file that they came from, `lines` chooses radargrams as in `views.radargrams.choose_lines` (empty: none).
    In a survey it is noted that the report was written.
    """
    noted = file_parameters(holes_path) if holes_path else {}  # as it was when it was read
    with tempfile.TemporaryDirectory(prefix="inslab-") as folder:
        pictures = radargrams_step(survey_path, folder, lines, PANEL, monitor.part(0.0, 0.4)) if lines else ()
        paper = client_report(survey_path, cover, holes, pictures)
        html = paper_html(paper, draw_map) if page_path else ""
        pages = write_paper(report_path, paper, monitor.part(0.4, 1.0))
    if page_path:
        write_text(page_path, html)
    if not is_record(survey_path):
        note_step(survey_path, WRITE_REPORT, {**noted, **result_parameters(survey_path, report_path)}, monitor)
    monitor.log(trn("The report has {count} page.", "The report has {count} pages.", pages))
    return pages
