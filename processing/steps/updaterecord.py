"""A survey merged into the building's record."""

from pathlib import Path
from typing import List, Tuple

from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..record.history import Book, Changed, Revision, change, latest_date
from ..record.merging import MergeReport, merge_survey
from ..record.open_store import open_store
from ..record.survey_rows import latest_scan, read_content
from ..store.layers import software_version
from .shared.records import day_of, newly_tied


def update_record_step(
    survey_path,
    record: str,
    recorded_on: str = "",
    recorded_by: str = "",
    penetrations_path=None,
    monitor: Monitor = Monitor(),
) -> Tuple[MergeReport, Changed]:
    """Merges the survey in `survey_path` into the record, which is made where there is none.

    `recorded_on` (ISO date) is the day from which the record knows it; empty: the date of the survey's latest scan, or that of the
    record's latest change where that is later. Raises `SurveyError`, `ProcessingError`, `MissingPackageError`, `Cancelled`; the
    record is then as it was.
    """
    content = read_content(survey_path)
    store = open_store(record)
    monitor.step(0.1)
    if not store.exists():
        day_of(recorded_on, latest_scan(content), "")  # refused before anything is made
        store.create(content.crs_wkt)
    with store.session() as session:
        tied = newly_tied(session, content.crs_wkt, store.name)
        day = day_of(recorded_on, latest_scan(content), latest_date(session))
    if penetrations_path:
        content = read_content(survey_path, penetrations_path, day)
    report = MergeReport()

    def work(book: Book) -> None:
        nonlocal report
        report = merge_survey(book, content, monitor.part(0.1, 0.9))

    what = tr("Survey {path} merged", path=Path(survey_path).name)
    revision = Revision(day, recorded_by, what, software_version())
    changed = change(store, revision, work, monitor.part(0.9, 1.0), tied)
    if tied:
        monitor.log(
            tr(
                "The record's site grid is tied to a national grid now, as the survey's is; coordinates stay as they are."
            )
        )
    for sentence in merge_sentences(report, changed):
        monitor.log(sentence)
    return report, changed


def merge_sentences(report: MergeReport, changed: Changed) -> List[str]:
    """What merging did, in words."""
    out = []
    if changed.outside:
        out.append(
            trn(
                "{count} row was changed outside Inslab since the last time; the history keeps it.",
                "{count} rows were changed outside Inslab since the last time; the history keeps them.",
                changed.outside,
            )
        )
    if changed.revision is None:
        return [
            *out,
            tr("The record already holds exactly this as survey {survey}; no row changed.", survey=report.survey_id),
        ]
    if report.is_new:
        out.append(tr("Survey {survey} is new in the record.", survey=report.survey_id))
    elif not report.is_same:
        out.append(tr("Survey {survey} replaces its earlier result.", survey=report.survey_id))
    out.append(trn("{count} item is new.", "{count} items are new.", len(report.new_items)))
    known = len(report.known_items)
    out.append(trn("{count} known item was seen again.", "{count} known items were seen again.", known))
    for keep, give in report.united:
        out.append(tr("Item {give} turned out to be part of {keep}.", give=give, keep=keep))
    if report.unseen:
        names = ", ".join(report.unseen)
        out.append(tr("Known before, within its reach and not seen (kept): {items}.", items=names))
    if report.flagged:
        out.append(tr("To be checked by a person (see the field flag): {items}.", items=", ".join(report.flagged)))
    return out
