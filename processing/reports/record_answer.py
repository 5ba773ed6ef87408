"""An answer of a record as sentences, as a page and as layers; what is unknown and the cautions belong to each of them."""

import re
from types import MappingProxyType
from typing import Dict, List, Mapping, Sequence

import numpy as np

from ..common import cautions
from ..common.language import tr, trn
from ..common.vocabulary.kinds import kind_name, kind_of
from ..common.vocabulary.statuses import DETECTED, REFUTED, VERIFIED
from ..common.vocabulary.values import word
from ..common.vocabulary.verdicts import verdict_words
from ..common.words import tenths_of_mm
from ..record.query import NEVER, NOT_DEEP, ONE_WAY, Answer
from ..record.schema import COVERAGE, GEOMETRY, ITEMS, PENETRATIONS, TABLES, VERIFICATIONS
from ..store.layer import Layer
from .content import Bullets, Cautions, Paper, Section, Table, Text
from .page import paper_html

UNKNOWN_LAYER = "unknown_ground"
UNKNOWN_FIELDS = {**dict.fromkeys((COVERAGE.level, COVERAGE.surface, "why"), str), "seen_to_m": float, "area_m2": float}
HISTORY = tr(
    "What a record says is what surveys saw and openings proved up to the date given; what was built, "
    "drilled or moved since is not in it."
)


def answer_sentences(answer: Answer) -> List[str]:
    """The answer in words: what is there, how sure and how old, what is unknown."""
    if not answer.planes:
        return [
            tr("The record knows nothing about this place as of {day}: all of it is unknown.", day=answer.as_of or "?")
        ]
    out = [tr("As known on {day}, for {area:.2f} m²:", day=answer.as_of, area=answer.asked_m2)]
    level = answer.question.level
    # A soffit may be a level of its own, named after that of the floor above it.
    others = [name for name in answer.levels if level and name != level and _names(name, level)]
    if others:
        out.append(tr("Not asked for, and not in this answer: {levels}.", levels=", ".join(others)))
    out.append(_item_sentence(answer))
    out += _quality_sentences(answer)
    out += _unknown_sentences(answer)
    for row in answer.items:
        if row[ITEMS.flag]:
            out.append(tr("Check item {item}: {flag}", item=row[ITEMS.item_id], flag=row[ITEMS.flag]))
    return out


def _names(text: str, level: str) -> bool:
    """Whether a text holds a level's name as words of its own: L1 is not in L10."""
    return re.search(rf"(?<!\w){re.escape(level)}(?!\w)", text) is not None


def _item_sentence(answer: Answer) -> str:
    there = [row for row in answer.items if row[ITEMS.status] != REFUTED]
    if not there:
        return tr("No item is known here. That is not to say that nothing is there.")
    kinds: Dict[str, int] = {}
    for row in there:
        kinds[row[ITEMS.kind]] = kinds.get(row[ITEMS.kind], 0) + 1
    words = ", ".join(kind_of(kind).counted(count) for kind, count in sorted(kinds.items()))
    least = min((row[ITEMS.depth_min_m] for row in there if row[ITEMS.depth_min_m] is not None), default=float("nan"))
    return trn(
        "{count} item is known ({words}); its shallowest top lies {depth:.0f} mm deep.",
        "{count} items are known ({words}); the shallowest top lies {depth:.0f} mm deep.",
        len(there),
        words=words,
        depth=1000 * least,
    )


def _quality_sentences(answer: Answer) -> List[str]:
    out = []
    verified = [row for row in answer.items if row[ITEMS.status] == VERIFIED]
    detected = [row for row in answer.items if row[ITEMS.status] == DETECTED]
    refuted = [row[ITEMS.item_id] for row in answer.items if row[ITEMS.status] == REFUTED]
    if verified:
        names = ", ".join(f"{row[ITEMS.item_id]} ({row[ITEMS.verified_on]})" for row in verified)
        out.append(tr("Verified by opening or drawing: {items}.", items=names))
    if detected:
        worst = max(row[ITEMS.sigma_xy_m] for row in detected), max(row[ITEMS.sigma_depth_m] for row in detected)
        out.append(
            trn(
                "{count} was found by radar alone, its place known to {plan:.0f} mm in plan and {depth:.0f} mm in depth "
                "(1-sigma).",
                "{count} were found by radar alone, their places known to {plan:.0f} mm in plan and {depth:.0f} mm in depth "
                "(largest 1-sigma).",
                len(detected),
                plan=1000 * worst[0],
                depth=1000 * worst[1],
            )
        )
    if refuted:
        out.append(tr("Opened and not found, still listed: {items}.", items=", ".join(refuted)))
    if answer.past:
        names = ", ".join(row[ITEMS.item_id] for row in answer.past)
        out.append(tr("No longer regarded as separate objects (superseded): {items}.", items=names))
    ages = [row["age_years"] for row in (*answer.items, *answer.coverage) if row["age_years"] is not None]
    if ages and max(ages) < 0.05:
        out.append(tr("What is known was seen less than three weeks before that day."))
    elif ages and max(ages) < 1.0:
        out.append(tr("What is known was seen at most {most:.0f} days before that day.", most=365.25 * max(ages)))
    elif ages:
        out.append(
            tr(
                "What is known was seen {least:.1f} to {most:.1f} years before that day.",
                least=min(ages),
                most=max(ages),
            )
        )
    return out


def _unknown_sentences(answer: Answer) -> List[str]:
    out = []
    share = {
        why: sum(row["area_m2"] for row in answer.unknown if row["why"] == why) for why in (NEVER, ONE_WAY, NOT_DEEP)
    }
    if share[NEVER] >= 0.999 * answer.asked_m2:
        out.append(tr("None of it was ever scanned: all of it is unknown."))
    elif share[NEVER]:
        out.append(tr("Never scanned, and therefore unknown, never clear: {area:.2f} m² of it.", area=share[NEVER]))
    if share[ONE_WAY]:
        text = tr(
            "Scanned in one direction only, where objects along the lines can be missed: {area:.2f} m².",
            area=share[ONE_WAY],
        )
        out.append(text)
    if share[NOT_DEEP]:
        depth = 1000 * answer.question.depth_m
        out.append(tr("Not seen down to {depth:.0f} mm: {area:.2f} m².", depth=depth, area=share[NOT_DEEP]))
    depths = [row[COVERAGE.depth_m] for row in answer.coverage if row[COVERAGE.depth_m]]
    if depths:
        out.append(
            tr(
                "Scanned ground was seen to depths of {least:.0f} to {most:.0f} mm; everything below is unknown.",
                least=1000 * min(depths),
                most=1000 * max(depths),
            )
        )
    if answer.question.polygon is None and answer.question.line is None:
        out.append(tr("The extent of the level is not in the record: all ground beyond what is shown is unknown, too."))
    return out


def answer_page(answer: Answer, record_name: str) -> str:
    """The answer as an HTML page that stands alone."""
    lists = (
        (tr("Items"), _item_table(answer.items)),
        (tr("Verifications"), _verification_table(answer.verifications)),
        (tr("Penetrations that were checked"), _penetration_table(answer.penetrations)),
        (tr("Unknown ground"), _unknown_table(answer.unknown)),
    )
    sections = [Section("", [Text(record_name, is_source=True), Bullets(answer_sentences(answer))])]
    sections += [Section(title, [listed]) for title, listed in lists if listed.rows]
    sections.append(Section("", [Text(HISTORY), Cautions()]))
    return paper_html(Paper(tr("What the record says"), tuple(sections)))


def _item_table(items: Sequence[Mapping]) -> Table:
    heads = (
        *(tr("Item"), tr("Kind"), tr("#certain %"), tr("Status"), tr("Quality"), tr("#Top mm"), tr("#sigma")),
        *(tr("#Plan sigma mm"), tr("Seen"), tr("#Age"), tr("Surveys")),
    )
    rows = [
        (
            row[ITEMS.item_id],
            kind_name(row[ITEMS.kind]),
            f"{100 * (row[ITEMS.kind_confidence] or 0):.0f}",
            word(row[ITEMS.status]),
            row[ITEMS.quality_level],
            tr(
                "{least} to {most}",
                least=tenths_of_mm(row[ITEMS.depth_min_m]),
                most=tenths_of_mm(row[ITEMS.depth_max_m]),
            ),
            tenths_of_mm(row[ITEMS.sigma_depth_m]),
            tenths_of_mm(row[ITEMS.sigma_xy_m]),
            row[ITEMS.verified_on] or row[ITEMS.last_seen_on] or "",
            "" if row["age_years"] is None else f"{row['age_years']:.1f}",
            row[ITEMS.survey_ids] or "",
        )
        for row in items
    ]
    return Table(heads, rows)


def _verification_table(verifications: Sequence[Mapping]) -> Table:
    heads = (
        *(tr("Verification"), tr("Item"), tr("Outcome"), tr("How"), tr("#Depth mm"), tr("On"), tr("By")),
        tr("Photograph"),
    )
    rows = [
        [
            row[VERIFICATIONS.verification_id],
            row[VERIFICATIONS.item_id],
            word(row[VERIFICATIONS.outcome]),
            word(row[VERIFICATIONS.method]),
        ]
        + [tenths_of_mm(row[VERIFICATIONS.depth_m])]
        + [row[name] or "" for name in (VERIFICATIONS.verified_on, VERIFICATIONS.verified_by, VERIFICATIONS.photo)]
        for row in verifications
    ]
    return Table(heads, rows)


def _penetration_table(penetrations: Sequence[Mapping]) -> Table:
    heads = (tr("Penetration"), tr("#Diameter mm"), tr("#Depth mm"), tr("Verdict then"), tr("Reason"), tr("On"))
    rows = [
        [
            row[PENETRATIONS.penetration_id],
            tenths_of_mm(row[PENETRATIONS.diameter_m]),
            tenths_of_mm(row[PENETRATIONS.depth_m]),
        ]
        + [verdict_words(row[PENETRATIONS.verdict]), row[PENETRATIONS.reason] or "", row[PENETRATIONS.checked_on] or ""]
        for row in penetrations
    ]
    return Table(heads, rows)


def _unknown_table(unknown: Sequence[Mapping]) -> Table:
    heads = (tr("Level"), tr("Surface"), tr("Why unknown"), tr("#Seen to mm"), tr("#Area m²"))
    rows = [
        (
            row[COVERAGE.level],
            word(row[COVERAGE.surface]),
            word(row["why"]),
            tenths_of_mm(row["seen_to_m"]),
            f"{row['area_m2']:.2f}",
        )
        for row in unknown
    ]
    return Table(heads, rows)


def answer_layers(answer: Answer) -> List[Layer]:
    """`items`, `verifications`, `penetrations`, `coverage` and `unknown_ground` of an answer."""
    aged = {"age_years": float}
    return [
        _layer(ITEMS.name, [*answer.items, *answer.past], aged),
        _layer(VERIFICATIONS.name, answer.verifications),
        _layer(PENETRATIONS.name, answer.penetrations),
        _layer(COVERAGE.name, answer.coverage, aged),
        Layer(UNKNOWN_LAYER, "Polygon", UNKNOWN_FIELDS, _rows(answer.unknown), cautions.UNKNOWN),
    ]


def _layer(name: str, rows: Sequence[Mapping], further: Mapping[str, type] = MappingProxyType({})) -> Layer:
    kept = TABLES[name]
    return Layer(name, kept.geometry, {**kept.columns, **further}, _rows(rows), f"{kept.description}. {cautions.SHORT}")


def _rows(rows: Sequence[Mapping]) -> List:
    return [(_arrays(row[GEOMETRY]), {name: value for name, value in row.items() if name != GEOMETRY}) for row in rows]


def _arrays(place):
    if isinstance(place[0], list) and isinstance(place[0][0], list):
        return [np.array(ring) for ring in place]
    return np.array(place)
