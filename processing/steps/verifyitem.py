"""An opening of the concrete entered into the record."""

from typing import List, Tuple

from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..record.history import Book, Changed, Revision, change, latest_date
from ..record.open_store import open_store
from ..record.verification import Verification, VerificationReport, verify_item
from ..store.layers import software_version
from .shared.records import day_of


def verify_item_step(
    record: str, verification: Verification, monitor: Monitor = Monitor()
) -> Tuple[VerificationReport, Changed]:
    """Enters an opening of the concrete; the record knows it from its date on, or from its latest change where that is later."""
    store = open_store(record)
    with store.session() as session:
        day = day_of("", verification.verified_on, latest_date(session))
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


def verification_sentences(report: VerificationReport) -> List[str]:
    """What a verification did, in words."""
    if not report.verification_id:
        return [tr("The record already holds exactly this verification; no row changed.")]
    return [tr("Recorded as {name}.", name=report.verification_id), *consequences(report)]


def consequences(report: VerificationReport) -> List[str]:
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
    out.append(trn("The depths of {count} item changed.", "The depths of {count} items changed.", len(report.items)))
    return [*out, *report.warnings]
