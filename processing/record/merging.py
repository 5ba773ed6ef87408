"""A survey becomes part of a record: its own rows are put in or replaced, each of its items becomes an observation of an object."""

import hashlib
import json
import re
from dataclasses import dataclass, field
from typing import Dict, FrozenSet, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.monitor import Monitor
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import SUPERSEDED
from ..items.model import Item
from .deriving import derive
from .history import Book
from .matching import item_of, match
from .schema import GEOMETRY, NOT_SEEN, OBSERVATIONS, SEEN, TABLES
from .store import Row

# Tables whose rows belong to one survey each: name, column of their number or name within the survey.
OWN_TABLES = {"scan_areas": "area_id", "coverage": "", "mats": "mat_id", "seams": "", "set_aside": ""}


@dataclass(frozen=True)
class SurveyContent:
    """All of a processed survey that a record takes; rows as in the record's tables, without the keys that the record gives.

    Attributes
    ----------
    crs_wkt : str
        Coordinate system of its site grid.
    identity : frozenset of tuple
        Its areas, as by which a survey that was processed anew is known again.
    survey : dict
        Row of `surveys`.
    rows : mapping of str to list
        Rows of `OWN_TABLES`, by table. Areas are named as in the survey.
    observations : list
        Rows of `observations`, with the survey's own `survey_item_id`. Of a survey that lacks a
        column (`Field.absent`) they lack it, too: to a version that knows more kinds it is still the same content.
    penetrations : list
        Rows of `penetrations`; `governing_item` as the survey names it.
    """

    crs_wkt: str
    identity: FrozenSet[Tuple]
    survey: Row
    rows: Mapping[str, Sequence[Row]]
    observations: Sequence[Row]
    penetrations: Sequence[Row] = ()


@dataclass
class MergeReport:
    """What merging did. `is_same`: the record held exactly this already; ids are those of the record's items."""

    survey_id: str = ""
    is_same: bool = False
    is_new: bool = True
    new_items: List[str] = field(default_factory=list)
    known_items: List[str] = field(default_factory=list)
    united: List[Tuple[str, str]] = field(default_factory=list)
    unseen: List[str] = field(default_factory=list)
    flagged: List[str] = field(default_factory=list)


def merge_survey(book: Book, content: SurveyContent, monitor: Monitor = Monitor()) -> MergeReport:
    """Merges one survey into the rows of a record; see `docs/record.md` for how objects are known again."""
    survey_id = find_survey(book, content.identity)
    report = MergeReport(survey_id or next_name("S", book.tables["surveys"]), is_new=survey_id is None)
    fingerprint = _fingerprint(content)
    earlier = book.tables["surveys"].get(report.survey_id)
    report.is_same = earlier is not None and earlier["content"] == fingerprint
    if not report.is_same:
        identity = json.dumps(sorted(map(list, content.identity)))
        named = {"survey_id": report.survey_id, "identity": identity, "content": fingerprint}
        book.put("surveys", {**content.survey, **named, "note": (earlier or {}).get("note")})
        _put_levels(book, content)
        _assign(book, content, report, monitor.part(0.0, 0.5))
        _put_own_rows(book, content, report.survey_id)
    _put_penetrations(book, content, report.survey_id)
    derive(book, monitor.part(0.5, 1.0))
    rows = [row for row in book.rows("observations") if row["survey_id"] == report.survey_id]
    report.unseen = [row["item_id"] for row in rows if row["outcome"] == NOT_SEEN]
    mine = {row["item_id"] for row in rows}
    report.flagged = [row["item_id"] for row in book.rows("items") if row["flag"] and row["item_id"] in mine]
    return report


def find_survey(book: Book, identity: FrozenSet[Tuple]) -> Optional[str]:
    """The survey of the record that has an area in common with `identity`; None where it is a new one."""
    for row in book.rows("surveys"):
        if {tuple(area) for area in json.loads(row["identity"] or "[]")} & identity:
            return row["survey_id"]
    return None


def next_name(letter: str, rows: Mapping[str, Row]) -> str:
    """The next name, as I7 after I6; rows that have one are never taken out, so that no name is used twice."""
    numbers = [int(name[len(letter) :]) for name in rows if re.fullmatch(rf"{letter}\d+", name)]
    return f"{letter}{max(numbers, default=0) + 1}"


def _fingerprint(content: SurveyContent) -> str:
    rows = {name: [_plain(row) for row in found] for name, found in content.rows.items()}
    rows["observations"] = [_plain(row) for row in content.observations]
    text = json.dumps(rows, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(row: Row) -> Row:
    return {name: np.asarray(value).tolist() if isinstance(value, np.ndarray) else value for name, value in row.items()}


def _put_levels(book: Book, content: SurveyContent) -> None:
    for row in content.rows["scan_areas"]:
        if row["level"] not in book.tables["levels"]:
            book.put("levels", {"level": row["level"]})


def _put_own_rows(book: Book, content: SurveyContent, survey_id: str) -> None:
    names = _record_names(book, survey_id)
    for table, column in OWN_TABLES.items():
        key = TABLES[table].key
        for row in book.rows(table):
            if row["survey_id"] == survey_id:
                book.remove(table, row[key])
        for number, row in enumerate(content.rows.get(table, ()), 1):
            own = {key: f"{survey_id}/{row[column] if column else number}", "survey_id": survey_id}
            if table == "coverage":
                own["area_key"] = f"{survey_id}/{row['area_id']}"
            if table == "mats":
                own["item_ids"] = ",".join(names.get(name, name) for name in (row["item_ids"] or "").split(","))
            book.put(table, {**row, **own})


def _record_names(book: Book, survey_id: str) -> Dict[str, str]:
    """The survey's own item ids to those of the record."""
    rows = [row for row in book.rows("observations") if row["survey_id"] == survey_id and row["outcome"] == SEEN]
    return {row["survey_item_id"]: row["item_id"] for row in rows}


def _put_penetrations(book: Book, content: SurveyContent, survey_id: str) -> None:
    names = _record_names(book, survey_id)
    for row in content.penetrations:
        key = f"{survey_id}/{row['penetration_id']}"
        note = book.tables["penetrations"].get(key, {}).get("note")
        item = names.get(row.get("governing_item"), row.get("governing_item"))
        book.put(
            "penetrations",
            {**row, "penetration_key": key, "survey_id": survey_id, "governing_item": item, "note": note},
        )


def _assign(book: Book, content: SurveyContent, report: MergeReport, monitor: Monitor) -> None:
    """Puts the survey's observations in, each with the object it is one of."""
    survey_id = report.survey_id
    before = {row["observation_id"]: row for row in book.rows("observations") if row["survey_id"] == survey_id}
    objects: Dict[str, str] = {}
    planes = sorted({(row["level"], row["surface"]) for row in content.observations})
    for number, plane in enumerate(planes):
        known = [item_of(row) for row in book.rows("items") if _can_match(row, plane)]
        rows = [
            row for row in content.observations if (row["level"], row["surface"]) == plane and row[GEOMETRY] is not None
        ]
        found = match(
            known, [_as_item(row) for row in rows], monitor.part(number / len(planes), (number + 1) / len(planes))
        )
        objects.update(found.same)
        for keep, give in found.united:
            _unite(book, keep, give)
        report.united += found.united
    report.known_items = sorted(set(objects.values()), key=_natural)
    for key in before:
        book.remove("observations", key)
    for row in sorted(content.observations, key=lambda row: _natural(row["survey_item_id"])):
        name = row["survey_item_id"]
        key = f"{survey_id}/{name}"
        item_id = objects.get(name)
        if item_id is None and row[GEOMETRY] is None and key in before:
            item_id = before[key]["item_id"]  # without a place only its name tells it
        if item_id is None:
            item_id = next_name("I", book.tables["items"])
            book.put("items", {"item_id": item_id})
            report.new_items.append(item_id)
        own = {"observation_id": key, "item_id": item_id, "survey_id": survey_id, "outcome": SEEN}
        book.put("observations", {**OBSERVATIONS.absent, **row, **own})


def _can_match(row: Row, plane: Tuple) -> bool:
    return (row["level"], row["surface"]) == plane and row[GEOMETRY] is not None and not row["part_of"]


def _as_item(row: Row) -> Item:
    vertices = np.asarray(row[GEOMETRY], float) * [1.0, 1.0, -1.0]
    kinds = {kind: row.get(f"p_{kind}") or 0.0 for kind in KINDS}
    sigmas = row["sigma_xy_m"], row["sigma_depth_m"]
    return Item(row["survey_item_id"], (), vertices, kinds, row["confidence"] or 0.0, *sigmas, row["pick_count"] or 0)


def _unite(book: Book, keep: str, give: str) -> None:
    """What was known as two objects is one; the row of the one that gives way stays, superseded."""
    for table in ("observations", "verifications"):
        for row in book.rows(table):
            if row["item_id"] == give:
                book.put(table, dict(row, item_id=keep))
    book.put("items", dict(book.tables["items"][give], part_of=keep, status=SUPERSEDED))


def _natural(name: str) -> Tuple:
    """Orders A2 before A10."""
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name or ""))
