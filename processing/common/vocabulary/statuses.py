"""What can be known of an item or of a verification: one table."""

from dataclasses import dataclass
from typing import Mapping, Optional

from ..language import tr

DETECTED, VERIFIED, REFUTED, SUPERSEDED, WITHDRAWN = "detected", "verified", "refuted", "superseded", "withdrawn"


@dataclass(frozen=True)
class Status:
    """What is known of an item, or of a verification (`of_items`, `of_verifications`). `title` is its line in a form."""

    key: str
    word: str
    title: str
    is_obstacle: bool = True
    of_items: bool = True
    of_verifications: bool = False


STATUSES: Mapping[str, Status] = {
    status.key: status
    for status in (
        Status(DETECTED, tr("detected"), tr("Detected")),
        Status(VERIFIED, tr("verified"), tr("Verified by exposure"), of_verifications=True),
        Status(REFUTED, tr("refuted"), tr("Refuted: no obstacle"), is_obstacle=False, of_verifications=True),
        Status(SUPERSEDED, tr("superseded"), tr("Superseded: no obstacle"), is_obstacle=False),
        Status(WITHDRAWN, tr("withdrawn"), tr("Withdrawn: entered by mistake"), of_items=False, of_verifications=True),
    )
}
ITEM_STATUSES = tuple(key for key, status in STATUSES.items() if status.of_items)
OUTCOMES = tuple(key for key, status in STATUSES.items() if status.of_verifications)


def is_obstacle(status: Optional[str]) -> bool:
    """Is an item of this status in the way? All are, however weak, but what was refuted or has given way to a newer one."""
    return status not in STATUSES or STATUSES[status].is_obstacle
