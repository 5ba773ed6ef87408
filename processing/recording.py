"""The steps about a record, composed as `chain.py` composes the main job: one function a Processing algorithm.

A record is named by a text: the path of a GeoPackage, or words of libpq and a schema (`host=... dbname=... schema=...`). Dates are
given by people, never taken from the computer's clock.
"""

from pathlib import Path
from typing import Dict, List, Optional, Tuple

from .errors import ProcessingError
from .language import tr
from .monitor import Monitor
from .outputs.geopackage import write_geopackage
from .outputs.layers import software_version
from .outputs.publish import write_text
from .outputs.record_answer import answer_layers, answer_page, answer_sentences
from .outputs.record_rows import latest_scan, read_content
from .record.history import Book, Changed, Revision, as_known_on, change, check_date, latest_date
from .record.merging import MergeReport, merge_survey
from .record.query import Answer, Question, ask
from .record.schema import GEOMETRY, TABLES
from .record.store import open_store
from .record.verification import Verification, VerificationReport, verify_item, withdraw


def update_record(
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
        _day(recorded_on, latest_scan(content), "")  # refused before anything is made
        store.create(content.crs_wkt)
    with store.session() as session:
        tied = _newly_tied(session, content.crs_wkt, store.name)
        day = _day(recorded_on, latest_scan(content), latest_date(session))
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


def verify(record: str, verification: Verification, monitor: Monitor = Monitor()) -> Tuple[VerificationReport, Changed]:
    """Enters an opening of the concrete; the record knows it from its date on, or from its latest change where that is later."""
    store = open_store(record)
    with store.session() as session:
        day = _day("", verification.verified_on, latest_date(session))
    report = VerificationReport()

    def work(book: Book) -> None:
        nonlocal report
        report = verify_item(book, verification, monitor.part(0.1, 0.9))

    what = tr("Item {item} {outcome}", item=verification.item_id, outcome=verification.outcome)
    revision = Revision(day, verification.verified_by, what, software_version())
    changed = change(store, revision, work, monitor.part(0.9, 1.0))
    for sentence in verification_sentences(report):
        monitor.log(sentence)
    return report, changed


def withdraw_verification(
    record: str, name: str, withdrawn_on: str, why: str, withdrawn_by: str = "", monitor: Monitor = Monitor()
) -> Tuple[VerificationReport, Changed]:
    """Withdraws a verification that was entered by mistake; the record knows it from this date on.

    Raises `ProcessingError` where the record has no such verification, the date is none, or no reason is given.
    """
    if not why.strip():
        raise ProcessingError(
            tr("Say why the verification {name} is withdrawn: the record keeps the reason.", name=name)
        )
    store = open_store(record)
    with store.session() as session:
        day = _day("", check_date(withdrawn_on, tr("The date of the withdrawal")), latest_date(session))
    words = tr(
        "Withdrawn on {date} by {person}: {why}", date=day, person=withdrawn_by or tr("unknown"), why=why.strip()
    )
    report = VerificationReport()

    def work(book: Book) -> None:
        nonlocal report
        report = withdraw(book, name, words, monitor.part(0.1, 0.9))

    revision = Revision(day, withdrawn_by, tr("Verification {name} withdrawn", name=name), software_version())
    changed = change(store, revision, work, monitor.part(0.9, 1.0))
    for sentence in (tr("Verification {name} counts no longer.", name=name), *_consequences(report)):
        monitor.log(sentence)
    return report, changed


def query_record(
    record: str, question: Question, output_path=None, report_path=None, monitor: Monitor = Monitor()
) -> Tuple[Answer, List[str]]:
    """What the record says of a place, as known on a date: its rows, and the answer in sentences.

    `output_path` (GeoPackage) gets the layers items, verifications, penetrations, coverage and unknown_ground, `report_path` an
    HTML page; existing files are replaced. Nothing in the record changes.
    """
    store = open_store(record)
    with store.session() as session:
        _check_level(session, question.level)
        book = as_known_on(session, question.known_on)
        as_of = question.known_on or latest_date(session)
        crs_wkt = _about(session)["crs_wkt"]
    monitor.step(0.3)
    answer = ask(book, question, as_of)
    monitor.step(0.8)
    sentences = answer_sentences(answer)
    if output_path:
        write_geopackage(output_path, answer_layers(answer), crs_wkt)
    if report_path:
        write_text(Path(report_path), answer_page(answer, store.name))
    for sentence in sentences:
        monitor.log(sentence)
    return answer, sentences


def read_record(record: str, known_on: str = "") -> Dict[str, List[Tuple[object, Dict]]]:
    """All layers of a record by name, as `outputs.geopackage.read_layer` gives them: rows of (coordinates, values).

    With `known_on` (ISO date), as the record knew it at the end of that day.
    """
    with open_store(record).session() as session:
        book = as_known_on(session, known_on)
        history = {name: session.read(TABLES[name]) for name in ("about", "revisions", "changes")}
    tables = {**{name: book.rows(name) for name in book.tables}, **history}
    return {
        name: [(row.get(GEOMETRY), {key: value for key, value in row.items() if key != GEOMETRY}) for row in rows]
        for name, rows in tables.items()
    }


def site_grid(record: str) -> str:
    """WKT of the site grid that a record lies on."""
    with open_store(record).session() as session:
        return _about(session)["crs_wkt"]


def levels_of(record: str) -> List[str]:
    """Names of the levels (and of the elevations of walls) that a record knows now."""
    with open_store(record).session() as session:
        return _levels(session)


def _levels(session) -> List[str]:
    return sorted({row["level"] for row in session.read(TABLES["levels"])})


def _check_level(session, level: Optional[str]) -> None:
    """A level that the record has now but had not on an earlier day is no mistake: all of it was unknown then."""
    known = _levels(session)
    if level and level not in known:
        names = ", ".join(known) or tr("none")
        raise ProcessingError(tr("The record has no level {level}; it has: {known}.", level=level, known=names))


def _about(session) -> Dict[str, str]:
    return {row["name"]: row["value"] for row in session.read(TABLES["about"])}


def _day(given: str, own: Optional[str], latest: str) -> str:
    if given:
        return check_date(given)
    if not own and not latest:
        raise ProcessingError(
            tr("The survey states no date of its scans: say on which date it is recorded, as 2031-05-04.")
        )
    return max(own or "", latest)


def _newly_tied(session, crs_wkt: str, name: str) -> Optional[str]:
    """The survey's coordinate system where the record lies on the plain local grid still and the survey does not."""
    known = _about(session).get("crs_wkt")
    from .site.crs import local_crs_wkt

    if known != crs_wkt and local_crs_wkt() not in (known, crs_wkt):
        raise ProcessingError(
            tr(
                "The survey lies on another site grid than the record {record}; give both the same with 'Define the site grid', or "
                "choose another record.",
                record=name,
            )
        )
    return crs_wkt if known == local_crs_wkt() != crs_wkt else None


def merge_sentences(report: MergeReport, changed: Changed) -> List[str]:
    """What merging did, in words."""
    out = []
    if changed.outside:
        out.append(
            tr(
                "{count} rows were changed outside Inslab since the last time; history holds them.",
                count=changed.outside,
            )
        )
    if changed.revision is None:
        return [
            *out,
            tr("The record holds exactly this as survey {survey} already; no row changed.", survey=report.survey_id),
        ]
    if report.is_new:
        out.append(tr("Survey {survey} is new in the record.", survey=report.survey_id))
    elif not report.is_same:
        out.append(tr("Survey {survey} takes the place of its earlier result.", survey=report.survey_id))
    counts = {"new": len(report.new_items), "known": len(report.known_items)}
    out.append(tr("{new} items are new; {known} were known and are seen again.", **counts))
    for keep, give in report.united:
        out.append(tr("Item {give} turned out to be a part of {keep}.", give=give, keep=keep))
    if report.unseen:
        names = ", ".join(report.unseen)
        out.append(tr("Known before, within its reach and not seen (kept): {items}.", items=names))
    if report.flagged:
        out.append(tr("To be checked by a person (see the field flag): {items}.", items=", ".join(report.flagged)))
    return out


def verification_sentences(report: VerificationReport) -> List[str]:
    """What a verification did, in words."""
    if not report.verification_id:
        return [tr("The record holds exactly this verification already; no row changed.")]
    return [tr("Recorded as {name}.", name=report.verification_id), *_consequences(report)]


def _consequences(report: VerificationReport) -> List[str]:
    """What follows from a verification that came or went."""
    out = []
    for area, old, old_sigma, new, new_sigma in report.areas:
        out.append(
            tr(
                "Area {area}: wave speed {new:.4f} ± {new_sigma:.4f} m/ns instead of {old:.4f} ± {old_sigma:.4f}.",
                area=area,
                new=new,
                new_sigma=new_sigma,
                old=old,
                old_sigma=old_sigma,
            )
        )
    out.append(tr("The depths of {count} items changed.", count=len(report.items)))
    return [*out, *report.warnings]
