"""What a person must check: contradictions between surveys, openings and neighbours, and what should have been seen and was not."""

from typing import Dict, List, Mapping, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import kind_name
from ..common.vocabulary.statuses import DETECTED, REFUTED, VERIFIED
from ..geometry.boxes import boxes_meet
from ..geometry.polygons import length_inside, shrunk
from ..items.model import Item
from ..items.same_object import DISAGREEING_SIGMAS, LONG_ENOUGH_M
from .history import Book
from .matching import disagreements, item_of
from .schema import GEOMETRY, NOT_SEEN
from .store import Row

SURE_OF_KIND = 0.8
# Scanned ground shrinks by this many of its sigmas: one-sided 95 per cent.
EDGE_SIGMAS = 1.645


def find_doubts(item: Row, rows: Sequence[Row], proofs: Sequence[Row]) -> List[str]:
    """What the observations and verifications of one item say against each other or themselves."""
    out = []
    if item["part_of"]:
        out.append(tr("A later survey shows that it is a part of item {item}.", item=item["part_of"]))
    elif not rows and not proofs:
        out.append(tr("The survey that showed it was processed again and no longer shows it."))
    if rows and not item[GEOMETRY]:
        out.append(tr("Its scan area has no position on the site grid."))
    out += [tr("Survey {survey}: {flag}", survey=row["survey_id"], flag=row["flag"]) for row in rows if row["flag"]]
    sure = {row["kind"]: row["survey_id"] for row in rows if (row["kind_confidence"] or 0.0) >= SURE_OF_KIND}
    if len(sure) > 1:
        words = ", ".join(f"{survey}: {kind_name(kind)}" for kind, survey in sorted(sure.items()))
        out.append(tr("Surveys disagree on its kind ({words}): check on site.", words=words))
    for one in proofs:
        if one["outcome"] == REFUTED:
            again = [row["survey_id"] for row in rows if (row["scanned_on"] or "") > one["verified_on"]]
            if again:
                text = tr(
                    "Survey {survey} sees it again after it was refuted on {date}.",
                    survey=again[0],
                    date=one["verified_on"],
                )
                out.append(text)
        elif None not in (one["depth_m"], one["depth_before_m"], one["sigma_before_m"]):
            both = float(np.hypot(one["sigma_depth_m"], one["sigma_before_m"]))
            if abs(one["depth_m"] - one["depth_before_m"]) > DISAGREEING_SIGMAS * both:
                out.append(
                    tr(
                        "On {date} its top was found at {found:.0f} mm where the record stated {before:.0f} ± {sigma:.0f} mm, more "
                        "than both uncertainties allow.",
                        date=one["verified_on"],
                        found=1000 * one["depth_m"],
                        before=1000 * one["depth_before_m"],
                        sigma=1000 * one["sigma_before_m"],
                    )
                )
    outcomes = {one["outcome"] for one in proofs}
    if len(outcomes) > 1:
        out.append(tr("It was both verified and refuted; the later entry counts."))
    return out


def find_unseen(book: Book, seen: Mapping[str, Sequence[Row]], flags: Dict[str, List[str]], monitor: Monitor) -> None:
    """Notes for each item the surveys that reached its depth over a stretch of it and did not see it."""
    pieces = [
        row for row in book.rows("coverage") if row[GEOMETRY] and row["depth_m"] and (row["line_directions"] or 0) > 1
    ]
    ground = {}
    items = book.rows("items")
    for number, item in enumerate(items):
        monitor.step(number / len(items))
        unseen: Dict[str, float] = {}
        if item[GEOMETRY] and item["status"] in (DETECTED, VERIFIED):
            surveys = {row["survey_id"] for row in seen.get(item["item_id"], ())}
            for piece in pieces:
                if piece["survey_id"] in surveys or (piece["level"], piece["surface"]) != (
                    item["level"],
                    item["surface"],
                ):
                    continue
                deep = item["depth_max_m"] + item["sigma_depth_m"] <= piece["depth_m"]
                if not deep or not boxes_meet(item[GEOMETRY], piece[GEOMETRY][0]):
                    continue
                key = piece["coverage_id"]
                if key not in ground:
                    ground[key] = shrunk(piece[GEOMETRY], EDGE_SIGMAS * (piece["sigma_xy_m"] or 0.0))
                length = length_inside(item[GEOMETRY], ground[key])
                unseen[piece["survey_id"]] = unseen.get(piece["survey_id"], 0.0) + length
        missed = {survey: length for survey, length in unseen.items() if length >= LONG_ENOUGH_M}
        for survey, length in missed.items():
            length = min(length, item["length_m"])
            flags[item["item_id"]].append(_put_unseen(book, item, survey, round(length, 3)))
        book.put("items", dict(item, not_seen_count=len(missed)))


def _put_unseen(book: Book, item: Row, survey_id: str, length_m: float) -> str:
    survey = book.tables["surveys"][survey_id]
    row = {
        "observation_id": f"{survey_id}/not-seen/{item['item_id']}",
        "item_id": item["item_id"],
        "survey_id": survey_id,
    }
    row.update(outcome=NOT_SEEN, scanned_on=survey["scanned_to"], level=item["level"], surface=item["surface"])
    book.put("observations", {**row, "unseen_length_m": length_m})
    return tr(
        "Survey {survey} reached its depth over {length:.2f} m of it and did not see it.",
        survey=survey_id,
        length=length_m,
    )


def find_disagreements(book: Book, seen: Mapping[str, Sequence[Row]], flags: Dict[str, List[str]]) -> None:
    """Tells at both items where two would be one object but for an offset beyond both uncertainties."""
    planes: Dict[Tuple, List[Tuple[Item, frozenset]]] = {}
    for row in book.rows("items"):
        if row[GEOMETRY] and row["status"] in (DETECTED, VERIFIED):
            surveys = frozenset(one["survey_id"] for one in seen.get(row["item_id"], ()))
            planes.setdefault((row["level"], row["surface"]), []).append((item_of(row), surveys))
    for items in planes.values():
        for found in disagreements(items):
            for name in found.item_ids:
                flags[name].append(found.sentence(name))
