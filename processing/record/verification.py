"""What is learned by opening the concrete: one item is proven or refuted, and its measured depth corrects its whole area.

What was entered by mistake is withdrawn: it stays in the record as withdrawn, and nothing follows from it any more.
"""

from dataclasses import dataclass
from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import REFUTED, VERIFIED, WITHDRAWN
from ..geometry.polylines import middle_of, nearest_on
from ..radar.model import SPEED_OF_LIGHT_M_NS
from .deriving import derive
from .history import Book, check_date
from .merging import next_name
from .schema import EXPOSURES, GEOMETRY, METHODS
from .speeds import present_speed

# A depth taped in a hole, where nothing else is stated (common practice, no source), metres.
DEPTH_SIGMA_M = 0.003


@dataclass(frozen=True)
class Verification:
    """What was done and found.

    Attributes
    ----------
    outcome : str
        `verified` or `refuted`.
    method : str
        One of `schema.METHODS`.
    depth_m, sigma_depth_m : float or None
        Depth to the item's top as measured, metres, and its 1-sigma.
    place_m : (x, y) or None
        Where on the site grid; None: the middle of the item.
    sigma_xy_m : float or None
        1-sigma of the item's measured position; None where `place_m` only tells where it was opened.
    kind : str or None
        What was found, one of `KINDS`.
    verified_on, verified_by : str
        Date (ISO 8601) and person.
    """

    item_id: str
    outcome: str
    method: str
    verified_on: str
    verified_by: str = ""
    depth_m: Optional[float] = None
    sigma_depth_m: Optional[float] = None
    place_m: Optional[Tuple[float, float]] = None
    sigma_xy_m: Optional[float] = None
    kind: Optional[str] = None
    photo: str = ""
    note: str = ""


@dataclass
class VerificationReport:
    """What it changed: name of the verification ('' where it was in the record already), and per area (name, speed before and after
    with 1-sigma, m/ns); items whose depth changed.
    """

    verification_id: str = ""
    areas: Sequence[Tuple[str, float, float, float, float]] = ()
    items: Sequence[str] = ()
    warnings: Sequence[str] = ()


def verify_item(book: Book, one: Verification, monitor: Monitor = Monitor()) -> VerificationReport:
    """Enters a verification and works out what follows. Raises `ProcessingError` for values that cannot be."""
    item = _checked(book, one)
    place, height = _place(item, one)
    if one.depth_m is not None and one.method in EXPOSURES and height is not None:
        _check_depth(book, item, one, -height)
    row = {name: getattr(one, name) for name in one.__dataclass_fields__ if name != "place_m"}
    row.update(level=item["level"], surface=item["surface"])
    if one.depth_m is not None:
        row["sigma_depth_m"] = one.sigma_depth_m or DEPTH_SIGMA_M
        if height is not None:
            row.update(depth_before_m=-height, sigma_before_m=item["sigma_depth_m"])
    if place is not None:
        depth = one.depth_m if one.depth_m is not None else -(height or 0.0)
        row[GEOMETRY] = [place[0], place[1], -depth]
    if _is_known(book, row):
        return VerificationReport()
    name = next_name("V", book.tables["verifications"])
    before = _state(book)
    book.put("verifications", {**row, "verification_id": name})
    if one.photo:
        document = next_name("D", book.tables["documents"])
        values = {"document_id": document, "path": one.photo, "what": "photograph", "belongs_to": "verifications"}
        book.put("documents", {**values, "row_id": name, "dated": one.verified_on, "by_whom": one.verified_by})
    derive(book, monitor)
    report = _what_changed(name, before, book, [row for row in book.rows("scan_areas") if _takes_part(name, row)])
    if one.depth_m is not None and one.outcome == VERIFIED and not report.areas:
        told = {row["warnings"] for row in book.rows("scan_areas") if row["area_key"] in item["area_ids"].split(",")}
        report.warnings = sorted(text for text in told if text)
    return report


def withdraw(book: Book, name: str, words: str, monitor: Monitor = Monitor()) -> VerificationReport:
    """Lets a verification that was entered by mistake count no longer; `words` (who, when, why) are added to its note.

    The row stays, its outcome `withdrawn`; history holds it as it was. Raises `ProcessingError` where there is none of this name,
    or it is withdrawn already.
    """
    row = book.tables["verifications"].get(name)
    if row is None:
        names = ", ".join(book.tables["verifications"]) or tr("none")
        raise ProcessingError(tr("The record has no verification {name}; it has: {known}.", name=name, known=names))
    if row["outcome"] == WITHDRAWN:
        raise ProcessingError(tr("Verification {name} has already been withdrawn: {note}", name=name, note=row["note"]))
    before = _state(book)
    areas = [one["area_key"] for one in book.rows("scan_areas") if _takes_part(name, one)]
    book.put("verifications", dict(row, outcome=WITHDRAWN, note=" ".join(filter(None, (row["note"], words)))))
    derive(book, monitor)
    return _what_changed(name, before, book, [book.tables["scan_areas"][key] for key in areas])


def _takes_part(name: str, area) -> bool:
    return name in (area["verified_by"] or "").split(",")


def _state(book: Book) -> Tuple[Mapping, Mapping]:
    """What a verification can change: wave speed of each area, least and greatest depth of each item."""
    speeds = {row["area_key"]: present_speed(row) for row in book.rows("scan_areas")}
    return speeds, {row["item_id"]: (row["depth_min_m"], row["depth_max_m"]) for row in book.rows("items")}


def _what_changed(name: str, before: Tuple[Mapping, Mapping], book: Book, areas) -> VerificationReport:
    """The report of a verification that came or went; `areas`: rows whose wave speed it takes part in, or took."""
    (old_speeds, old_depths), (_, depths) = before, _state(book)
    speeds, warnings = [], []
    for row in areas:
        old, new = old_speeds[row["area_key"]], present_speed(row)
        speeds.append((row["area_key"], old.speed_m_ns, old.sigma_m_ns, new.speed_m_ns, new.sigma_m_ns))
        warnings += (row["warnings"] or "").splitlines()
    return VerificationReport(name, speeds, [item for item in depths if depths[item] != old_depths[item]], warnings)


def _checked(book: Book, one: Verification):
    item = book.tables["items"].get(one.item_id)
    if item is None:
        raise ProcessingError(tr("The record has no item {item}: choose one from its layer 'items'.", item=one.item_id))
    if item["part_of"]:
        raise ProcessingError(
            tr("Item {item} is now a part of {other}: enter that one instead.", item=one.item_id, other=item["part_of"])
        )
    check_date(one.verified_on, tr("The date of the verification"))
    problems: List[str] = []
    if one.outcome not in (VERIFIED, REFUTED) or one.method not in METHODS or (one.kind and one.kind not in KINDS):
        problems.append(tr("outcome, method and kind must be terms that the record knows"))
    if one.depth_m is not None and not 0.0 < one.depth_m < 5.0:
        problems.append(tr("a depth of {depth} m is not possible", depth=one.depth_m))
    if one.outcome == REFUTED and one.depth_m is not None:
        problems.append(tr("an item that is not there has no depth"))
    if any(value is not None and not 0.0 < value < 1.0 for value in (one.sigma_depth_m, one.sigma_xy_m)):
        problems.append(tr("a 1-sigma must be above zero and below one metre"))
    if one.sigma_xy_m is not None and one.place_m is None:
        problems.append(tr("an uncertainty of position needs the position itself"))
    if problems:
        raise ProcessingError(tr("Item {item}: {problems}.", item=one.item_id, problems=tr(", and ").join(problems)))
    return item


def _place(item, one: Verification):
    """Where it was opened, and the height of the item's line there; None where nothing has a place."""
    if item[GEOMETRY] is None:
        return one.place_m, None
    line = np.asarray(item[GEOMETRY], float)
    place = tuple(map(float, middle_of(line)[:2] if one.place_m is None else one.place_m))
    _, (away,), (foot,) = nearest_on(line, [place])
    if away > 0.5:
        raise ProcessingError(
            tr(
                "The place is {distance:.2f} m from item {item}: check coordinates and item.",
                distance=away,
                item=one.item_id,
            )
        )
    return place, float(foot[2])


def _check_depth(book: Book, item, one: Verification, radar_m: float) -> None:
    """Refuses a depth from which no wave could have come back in time: one in other units would spoil the whole area."""
    keys = (item["area_ids"] or "").split(",")
    speeds = [present_speed(row) for row in book.rows("scan_areas") if row["area_key"] in keys]
    known = [speed.speed_m_ns for speed in speeds if speed is not None]
    if not known:
        return
    most = (radar_m + 3.0 * (item["sigma_depth_m"] or 0.0)) * SPEED_OF_LIGHT_M_NS / min(known)
    if one.depth_m - 3.0 * (one.sigma_depth_m or DEPTH_SIGMA_M) > most:
        raise ProcessingError(
            tr(
                "Item {item}: a depth of {depth:g} m is not possible where the radar puts it at {radar:.3f} m, since "
                "no wave could return from there so soon; check the number (metres) and the item.",
                item=one.item_id,
                depth=one.depth_m,
                radar=radar_m,
            )
        )


def _is_known(book: Book, row) -> bool:
    """Was this entered before? An opening that is entered twice must not count twice."""
    names = ("item_id", "outcome", "method", "verified_on", "verified_by", "depth_m", "kind", "photo", "note")
    for other in book.rows("verifications"):
        same = all((other[name] or None) == (row[name] or None) for name in names)
        if same and (other[GEOMETRY] or [0, 0])[:2] == list((row.get(GEOMETRY) or [0, 0])[:2]):
            return True
    return False
