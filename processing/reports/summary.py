"""The first and the last sections of a report on a survey: cover, the results in short, how to read them, signatures."""

from dataclasses import dataclass
from typing import Iterable

import numpy as np

from ..common import cautions
from ..common.language import tr, trn
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.surfaces import plane_words
from ..common.words import mm
from ..geometry.polygons import union
from ..geometry.shapes import polygon_of
from ..site.crs import is_tied, to_national
from ..store.geopackage import read_metadata
from ..store.layers import software_version
from ..store.reading import read_survey_name
from ..store.schema import COVERAGE, ITEMS, SCAN_AREAS, SURVEY_FOLDER_KEY
from .content import Bullets, Cautions, Column, Length, Section, Signatures, Table, Text, table_of
from .items import count_kinds
from .tables import SurveyTables


@dataclass(frozen=True)
class Cover:
    """What only the person at the screen knows."""

    title: str = ""
    client: str = ""
    author: str = ""
    remarks: str = ""


def cover_section(tables: SurveyTables, length: Length, cover: Cover = Cover()) -> Section:
    """The facts of the job, and the cautions."""
    areas = tables.values(SCAN_AREAS)
    if length is Length.RUN:
        survey = (tr("Survey folder"), read_metadata(tables.path, SURVEY_FOLDER_KEY) or "")
    else:
        survey = (tr("Survey"), read_survey_name(tables.path))
    facts = [
        (tr("Client"), cover.client),
        (tr("Report by"), cover.author),
        survey,
        (tr("Levels"), "; ".join(plane_words(plane) for plane in tables.planes)),
        (tr("Scan areas"), f"{len(areas)}"),
        (tr("Scanned on"), _listed(row.get(SCAN_AREAS.scanned_on) for row in areas)),
        (tr("Scanned by"), _listed(row.get(SCAN_AREAS.scanned_by) for row in areas)),
        (tr("Coordinates"), _grid_words(tables)),
        (tr("Remarks"), cover.remarks),
        (tr("Made with"), f"Inslab {software_version()}"),
    ]
    return Section("", [Table(("", ""), [fact for fact in facts if fact[1]]), Cautions()])


def _listed(values: Iterable) -> str:
    found = sorted({str(value) for value in values if value})
    return ", ".join(found) if len(found) < 5 else tr("{first} to {last}", first=found[0], last=found[-1])


def _grid_words(tables: SurveyTables) -> str:
    if is_tied(tables.crs_wkt):
        national = to_national(tables.crs_wkt, np.zeros((1, 2)))[1]
        return tr("site grid, metres, tied to {grid}", grid=national)
    return tr("site grid, metres; not tied to a national grid")


def in_short_section(tables: SurveyTables, length: Length) -> Section:
    """What was scanned and found on each level."""
    columns = (
        Column(tr("Level"), 22, plane_words),
        Column(tr("#Areas"), 8, lambda plane: len(tables.of_plane(SCAN_AREAS, plane))),
        Column(tr("#Scanned both ways m²"), 14, lambda plane: f"{_ground_m2(tables, plane):.1f}"),
        Column(tr("#Seen to mm"), 14, lambda plane: _seen(tables, plane)),
        Column(tr("Found"), 42, lambda plane: _found(tables, plane)),
    )
    parts = [table_of(columns, tables.planes, length)]
    unplaced = sum(line is None for line, _ in tables.items)
    if unplaced:
        parts.append(
            Text(
                trn(
                    "{count} item lies in an area without a position: it is listed, not drawn.",
                    "{count} items lie in areas without a position: they are listed, not drawn.",
                    unplaced,
                )
            )
        )
    flagged = sum(bool(row.get(ITEMS.flag)) for _, row in tables.items)
    if flagged:
        parts.append(
            Text(
                trn(
                    "{count} item must be checked on site before anyone relies on it; the list of items says why.",
                    "{count} items must be checked on site before anyone relies on them; the list of items says why.",
                    flagged,
                )
            )
        )
    return Section(tr("Summary"), parts)


def _found(tables: SurveyTables, plane) -> str:
    counts = count_kinds(row for _, row in tables.of_plane(ITEMS, plane))
    words = ", ".join(KINDS[kind].counted(count) for kind, count in counts.items())
    return words or tr("nothing; that does not mean that there is nothing")


def _ground_m2(tables: SurveyTables, plane) -> float:
    crossed = (rings for rings, row in tables.of_plane(COVERAGE, plane) if rings and row[COVERAGE.line_directions] >= 2)
    return union(polygon_of(rings) for rings in crossed).Area()


def _seen(tables: SurveyTables, plane) -> str:
    depths = [row[COVERAGE.depth_m] for _, row in tables.of_plane(COVERAGE, plane) if row[COVERAGE.depth_m] is not None]
    if not depths:
        return tr("not known")
    low, high = mm(min(depths)), mm(max(depths))
    return low if low == high else tr("{low} to {high}", low=low, high=high)


def how_to_read_section() -> Section:
    """What the numbers and the plans of the client's report mean."""
    lines = (
        tr("Depths are in millimetres from the scanned surface to the top of the item, the side that faces the scan."),
        tr(
            "A number after ± is the 1-sigma uncertainty: the true value lies within twice that in 95 of 100 cases. "
            "On the plans the pale strip along an item contains its line with 95 per cent probability."
        ),
        tr("Confidence says how certain it is that there is an object; the kind has its own confidence."),
        tr("Grey ground on the plans was not scanned both ways. It is unknown. So is all that lies below the depth seen."),
        tr("On the plans, site x runs to the right and site y up; a level seen from below is drawn as seen from above."),
    )  # fmt: skip
    return Section(tr("How to read this report"), [Bullets(lines)])


def signatures_section() -> Section:
    """Lines to sign, and what signing does not mean."""
    text = tr(
        "This report says what was found and how certain that is. It does not release any place for drilling. "
        "{decision}",
        decision=cautions.DECISION,
    )
    return Section(tr("Signatures"), [Text(text), Signatures((tr("Survey"), tr("Checked"), tr("Received")))])
