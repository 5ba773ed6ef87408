"""A verification that was entered by mistake taken back."""

from typing import Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..record.history import Book, Changed, Revision, change, check_date, latest_date
from ..record.open_store import open_store
from ..record.verification import VerificationReport, withdraw
from ..store.layers import software_version
from .shared.records import day_of
from .verifyitem import consequences


def withdraw_verification_step(
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
        day = day_of("", check_date(withdrawn_on, tr("The date of the withdrawal")), latest_date(session))
    words = tr(
        "Withdrawn on {date} by {person}: {why}", date=day, person=withdrawn_by or tr("unknown"), why=why.strip()
    )
    report = VerificationReport()

    def work(book: Book) -> None:
        nonlocal report
        report = withdraw(book, name, words, monitor.part(0.1, 0.9))

    revision = Revision(day, withdrawn_by, tr("Verification {name} withdrawn", name=name), software_version())
    changed = change(store, revision, work, monitor.part(0.9, 1.0))
    for sentence in (tr("Verification {name} no longer counts.", name=name), *consequences(report)):
        monitor.log(sentence)
    return report, changed
