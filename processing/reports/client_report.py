"""The report that a client gets: what was found, on plans and in lists, how sure it is, and what nobody knows.

It is composed of what survey.gpkg holds, so it needs neither the radar data nor a new computation (pictures of lines excepted).
"""

from dataclasses import dataclass
from pathlib import Path
from typing import List, Mapping, Sequence, Tuple

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..common.words import kind_words, mm, per_cent, plane_words, plus_minus, verdict_words
from ..items.model import KINDS
from ..site.crs import is_tied, to_national
from ..store.layers import software_version
from ..store.reading import read_survey_name
from .content import Bullets, Cautions, MapSheet, Paper, Picture, Section, Signatures, Table, Text
from .evidence import evidence_sections
from .plane_content import polygon
from .tables import SurveyTables

AREA_MARGIN_M, LEVEL_MARGIN_M = 0.15, 0.5


@dataclass(frozen=True)
class Cover:
    """What only the person at the screen knows."""

    title: str = ""
    client: str = ""
    author: str = ""
    remarks: str = ""


def compose_report(
    survey_path,
    cover: Cover = Cover(),
    holes: Sequence[Tuple[object, Mapping]] = (),
    radargrams: Sequence[Path] = (),
) -> Paper:
    """The report on the survey at `survey_path`; `holes` are rows of planned penetrations with their verdicts, if they have any.

    The same survey gives the same paper. Raises `SurveyError` where items were not detected yet.
    """
    tables = SurveyTables(survey_path)
    title = cover.title or tr("Concrete scan {name}", name=read_survey_name(tables.path))
    parts = [_cover(tables, cover), _in_short(tables), _how_to_read(), *map_sheets(tables, holes)]
    parts += [*_items(tables), _mats(tables)]
    if holes:
        parts.append(_penetrations(holes))
    if radargrams:
        parts.append(_radargrams(radargrams))
    parts += evidence_sections(tables)
    parts.append(_signatures())
    return Paper(title, tuple(parts))


def _cover(tables: SurveyTables, cover: Cover) -> Section:
    areas = tables.values("scan_areas")
    facts = [
        (tr("Client"), cover.client),
        (tr("Report by"), cover.author),
        (tr("Survey"), read_survey_name(tables.path)),
        (tr("Levels"), "; ".join(plane_words(plane) for plane in tables.planes)),
        (tr("Scan areas"), f"{len(areas)}"),
        (tr("Scanned on"), _listed(row.get("scanned_on") for row in areas)),
        (tr("Scanned by"), _listed(row.get("scanned_by") for row in areas)),
        (tr("Coordinates"), _grid_words(tables)),
        (tr("Remarks"), cover.remarks),
        (tr("Made with"), f"Inslab {software_version()}"),
    ]
    return Section("", [Table(("", ""), [fact for fact in facts if fact[1]]), Cautions()])


def _listed(values) -> str:
    found = sorted({str(value) for value in values if value})
    return ", ".join(found) if len(found) < 5 else tr("{first} to {last}", first=found[0], last=found[-1])


def _grid_words(tables: SurveyTables) -> str:
    if is_tied(tables.crs_wkt):
        national = to_national(tables.crs_wkt, np.zeros((1, 2)))[1]
        return tr("site grid, metres, tied to {grid}", grid=national)
    return tr("site grid, metres; not tied to a national grid")


def _in_short(tables: SurveyTables) -> Section:
    rows = []
    for plane in tables.planes:
        items = [row for _, row in tables.of_plane("items", plane)]
        counts = {kind: sum(row["kind"] == kind for row in items) for kind in KINDS}
        found = ", ".join(f"{count} {kind_words(kind, count)}" for kind, count in counts.items() if count)
        rows.append(
            (
                plane_words(plane),
                len(tables.of_plane("scan_areas", plane)),
                f"{_ground_m2(tables, plane):.1f}",
                _seen(tables, plane),
                found or tr("nothing; that does not mean that there is nothing"),
            )
        )
    heads = (tr("Level"), tr("#Areas"), tr("#Scanned both ways m²"), tr("#Seen to mm"), tr("Found"))
    parts = [Table(heads, rows, widths=(22, 8, 14, 14, 42))]
    unplaced = sum(line is None for line, _ in tables.items)
    if unplaced:
        parts.append(
            Text(tr("{count} items lie in areas without a position: they are listed, not drawn.", count=unplaced))
        )
    flagged = sum(bool(row.get("flag")) for _, row in tables.items)
    if flagged:
        parts.append(
            Text(
                tr(
                    "{count} items must be checked on site before anyone relies on them; the list of items says why.",
                    count=flagged,
                )
            )
        )
    return Section(tr("In short"), parts)


def _ground_m2(tables: SurveyTables, plane) -> float:
    union = None
    for rings, row in tables.of_plane("coverage", plane):
        if rings is not None and row["line_directions"] >= 2:
            shape = polygon(rings)
            union = shape if union is None else union.Union(shape)
    return 0.0 if union is None else union.Area()


def _seen(tables: SurveyTables, plane) -> str:
    depths = [row["depth_m"] for _, row in tables.of_plane("coverage", plane) if row["depth_m"] is not None]
    if not depths:
        return tr("not known")
    low, high = mm(min(depths)), mm(max(depths))
    return low if low == high else tr("{low} to {high}", low=low, high=high)


def _how_to_read() -> Section:
    lines = (
        tr("Depths are in millimetres from the scanned surface to the top of the item, its side that faces the scan."),
        tr(
            "A number after ± is the 1-sigma uncertainty: the true value lies within twice that in 95 of 100 cases. On "
            "the plans the pale strip along an item is where its line lies with 95 per cent probability."
        ),
        tr("Confidence says how sure it is that there is an object; the kind has a confidence of its own."),
        tr("Grey ground on the plans was not scanned both ways. It is unknown. So is all that lies below the depth seen."),
        tr("On the plans, site x runs to the right and site y up; a level seen from below is drawn as seen from above."),
    )  # fmt: skip
    return Section(tr("How to read this report"), [Bullets(lines)])


def map_sheets(tables: SurveyTables, holes: Sequence[Tuple[object, Mapping]]) -> List[MapSheet]:
    """A sheet for each level and surface, each followed by those of its areas."""
    sheets = []
    for plane in tables.planes:
        rings = {row["area_id"]: shape[0] for shape, row in tables.of_plane("scan_areas", plane) if shape is not None}
        lines = [line[:, :2] for line, _ in tables.of_plane("items", plane) if line is not None]
        own = [place for place, row in holes if (row.get("level") or plane[0], row.get("surface") or "top") == plane]
        spots = [*rings.values(), *lines, *(np.asarray(place, float)[None, :2] for place in own)]
        if not spots:
            continue
        words = plane_words(plane)
        caption = tr("All items of this level. Depths stand on the sheets of the scan areas.")
        sheets.append(MapSheet(words, *plane, _extent(spots, LEVEL_MARGIN_M), caption))
        for area_id, ring in sorted(rings.items()):
            caption = tr("Numbers along the items are depths to their top in millimetres.")
            title = tr("Scan area {area}, {level}", area=area_id, level=words)
            sheets.append(MapSheet(title, *plane, _extent([ring], AREA_MARGIN_M), caption, area_id))
    return sheets


def _extent(spots, margin_m: float) -> np.ndarray:
    corners = np.vstack(spots)
    return np.array([corners.min(axis=0) - margin_m, corners.max(axis=0) + margin_m])


def _items(tables: SurveyTables) -> List[Section]:
    heads = (
        tr("Item"),
        tr("Kind, and how sure"),
        tr("#Depth mm"),
        tr("#In plan mm"),
        tr("#Confidence"),
        tr("Areas"),
        tr("Why this kind; what to check"),
    )
    sections = []
    for plane in tables.planes:
        rows = [
            (
                row["item_id"],
                _kind_and_share(row),
                _depth(row),
                "" if row["sigma_xy_m"] is None else f"± {mm(row['sigma_xy_m'])}",
                "" if row["confidence"] is None else f"{row['confidence']:.2f}",
                (row.get("area_ids") or "").replace(",", ", "),
                " ".join(text for text in (row.get("reasons"), _to_check(row.get("flag")), _by_hand(row)) if text),
            )
            for line, row in sorted(
                tables.of_plane("items", plane), key=lambda one: (_kind_order(one[1]), one[1]["item_id"] or "")
            )
        ]
        empty = tr("No item was found on this level. That does not mean that there is none.")
        listed = Table(heads, rows, empty, (9, 15, 11, 8, 12, 10, 35))
        sections.append(Section(tr("Items, {level}", level=plane_words(plane)), [listed], new_page=not sections))
    return sections


def _kind_order(row: Mapping) -> int:
    return KINDS.index(row["kind"]) if row["kind"] in KINDS else len(KINDS)


def _kind_and_share(row: Mapping) -> str:
    share = row.get("kind_confidence")
    words = kind_words(row["kind"], 1)
    return words if share is None else f"{words}, {100 * share:.0f}\u00a0%"


def _depth(row: Mapping) -> str:
    low, high = row.get("depth_min_m"), row.get("depth_max_m")
    if low is None or high is None:
        return tr("not known")
    depth = mm(low) if mm(low) == mm(high) else f"{mm(low)}–{mm(high)}"
    return depth if row["sigma_depth_m"] is None else f"{depth} ± {mm(row['sigma_depth_m'])}"


def _to_check(flag) -> str:
    return tr("CHECK ON SITE: {reason}", reason=flag) if flag else ""


def _by_hand(row: Mapping) -> str:
    return "" if row.get("source") in (None, "computed") else tr("Edited by the surveyor.")


def _mats(tables: SurveyTables) -> Section:
    rows = []
    for row in tables.values("mats"):
        spacing = tr("not known")
        if row["spacing_mean_m"] is not None:
            limits = tr("{low} to {high}", low=mm(row["spacing_min_m"]), high=mm(row["spacing_max_m"]))
            spacing = f"{plus_minus(row['spacing_mean_m'], row['sigma_spacing_m'])} ({limits})"
        rows.append(
            (
                row["mat_id"],
                plane_words((row["level"], row["surface"])),
                (row["area_ids"] or "").replace(",", ", "),
                row["bar_count"],
                f"{row['direction_deg']:.1f}",
                spacing,
                plus_minus(row["cover_mean_m"], row["sigma_cover_m"]),
                mm(row["cover_min_m"]),
                mm(row["cover_q05_m"]),
            )
        )
    heads = (
        *(tr("Mat"), tr("Level"), tr("Areas"), tr("#Bars"), tr("#Direction °"), tr("#Spacing mm (least to largest)")),
        *(tr("#Cover mm"), tr("#Least"), tr("#5 % lie below")),
    )
    text = tr(
        "A mat is a family of at least three parallel bars. Directions count from site x anticlockwise. Cover is the "
        "depth to the top of the bars. Bars that were not found are missing here too; their size is not measured."
    )  # fmt: skip
    widths = (7, 15, 13, 7, 11, 20, 10, 7, 10)
    return Section(tr("Mats of bars"), [Table(heads, rows, tr("No mat was found."), widths), Text(text)])


def _penetrations(holes: Sequence[Tuple[object, Mapping]]) -> Section:
    rows = []
    for place, row in holes:
        margin = "" if row.get("margin_m") is None else plus_minus(row["margin_m"], row.get("sigma_margin_m"))
        touch = row.get("touch_probability")
        rows.append(
            (
                row.get("penetration_id") or "",
                f"{place[0]:.3f}, {place[1]:.3f}",
                mm(row.get("diameter_m")),
                mm(row.get("depth_m")),
                verdict_words(row.get("verdict")),
                row.get("governing_item") or "",
                margin,
                "" if touch is None else per_cent(touch),
                row.get("reason") or "",
            )
        )
    heads = (
        *(tr("Hole"), tr("Site x, y m"), tr("#Diameter mm"), tr("#Depth mm"), tr("Verdict"), tr("Item")),
        *(tr("#Margin mm"), tr("#Chance of touching"), tr("Reason")),
    )
    text = tr(
        "The margin is what is left of the way to the nearest item beyond the keep-out distance. 'Clear' speaks of "
        "what is known. A hole that touches unknown ground is unknown, whatever else is near it. Whether a hole is "
        "drilled is decided by the responsible engineer."
    )  # fmt: skip
    return Section(
        tr("Planned penetrations"),
        [Table(heads, rows, widths=(6, 13, 9, 8, 12, 9, 9, 10, 24)), Text(text)],
        new_page=True,
    )


def _radargrams(pictures: Sequence[Path]) -> Section:
    text = tr(
        "Distance along the scan line to the right, time downwards. Items are marked where they cross the line: full "
        "marks were seen on this line, open ones are known from others."
    )  # fmt: skip
    shown = [Picture(path, path.stem.replace("_", " ")) for path in pictures]
    return Section(tr("Radargrams"), [Text(text), *shown], new_page=True)


def _signatures() -> Section:
    text = tr(
        "This report says what was found and how sure that is. It does not release any place for drilling. {decision}",
        decision=cautions.DECISION,
    )
    return Section(tr("Signatures"), [Text(text), Signatures((tr("Survey"), tr("Checked"), tr("Received")))])
