"""What a report says of what is cast in: items, mats of bars, radargrams, and planned penetrations between them."""

from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Sequence, Tuple

from ..common.language import tr
from ..common.vocabulary.kinds import KINDS, kind_name, kind_of
from ..common.vocabulary.surfaces import plane_words
from ..common.vocabulary.verdicts import verdict_words
from ..common.words import mm, per_cent, plus_minus, tenths_of_mm
from ..store.schema import ITEMS, MATS
from ..store.schema import PENETRATION_VERDICTS as VERDICTS
from .content import Column, Length, Picture, Section, Table, Text, table_of
from .tables import SurveyTables


def item_sections(tables: SurveyTables, length: Length) -> List[Section]:
    """A client gets each item of each level; a run's report the numbers and the worst uncertainties of each kind."""
    if length is Length.RUN:
        return [_kinds_section(tables)]
    return [_plane_section(tables, plane, number == 0) for number, plane in enumerate(tables.planes)]


def count_kinds(rows: Iterable[Mapping]) -> Dict[str, int]:
    """How many of these items are of each kind that occurs, in the order of `KINDS`."""
    # One that a person typed and nobody knows counts as unknown.
    kinds = [kind_of(row[ITEMS.kind]).key for row in rows]
    return {kind: kinds.count(kind) for kind in KINDS if kind in kinds}


def _kinds_section(tables: SurveyTables) -> Section:
    rows = [row for _, row in tables.items]
    groups = {kind: [row for row in rows if kind_of(row[ITEMS.kind]).key == kind] for kind in count_kinds(rows)}

    def largest(kind, name):
        return tenths_of_mm(max((row[name] for row in groups[kind] if row[name] is not None), default=None))

    def lowest_confidence(kind):
        found = [row[ITEMS.confidence] for row in groups[kind] if row[ITEMS.confidence] is not None]
        return f"{min(found):.2f}" if found else ""

    columns = (
        Column(tr("Kind"), 25, kind_name),
        Column(tr("#Number"), 10, lambda kind: len(groups[kind])),
        Column(tr("#Depth to top mm"), 20, lambda kind: _depths(groups[kind])),
        Column(tr("#Largest lateral sigma mm"), 15, lambda kind: largest(kind, ITEMS.sigma_xy_m)),
        Column(tr("#Largest depth sigma mm"), 15, lambda kind: largest(kind, ITEMS.sigma_depth_m)),
        Column(tr("#Lowest confidence"), 15, lowest_confidence),
    )
    nothing = tr("No item was found. That does not mean that there is none.")
    parts = [table_of(columns, list(groups), Length.RUN, nothing)]
    flagged = [row for row in rows if row.get(ITEMS.flag)]
    if flagged:
        parts += [Text(tr("To be checked on site:")), _item_table(flagged, Length.RUN)]
    if tables.no_obstacle_count:
        text = tr("Refuted or superseded, and not counted here: {count}.", count=tables.no_obstacle_count)
        parts.append(Text(text))
    return Section(tr("Items"), parts)


def _depths(rows: Sequence[Mapping]) -> str:
    found = [row[name] for row in rows for name in (ITEMS.depth_min_m, ITEMS.depth_max_m) if row[name] is not None]
    return tr("{least} to {most}", least=mm(min(found)), most=mm(max(found))) if found else tr("not known")


def _plane_section(tables: SurveyTables, plane: Tuple[str, str], new_page: bool) -> Section:
    rows = [row for _, row in tables.of_plane(ITEMS, plane)]
    empty = tr("No item was found on this level. That does not mean that there is none.")
    listed = _item_table(rows, Length.CLIENT, empty)
    return Section(tr("Items, {level}", level=plane_words(plane)), [listed], new_page)


def _item_table(rows: Sequence[Mapping], length: Length, empty: str = "") -> Table:
    """Items one by one, kind by kind."""
    columns = (
        Column(tr("Item"), 9, lambda row: row[ITEMS.item_id]),
        Column(tr("Kind, and how certain"), 15, _kind_and_share),
        Column(tr("#Depth mm"), 11, depth_words),
        Column(tr("#In plan mm"), 9, _plan_sigma),
        Column(tr("#Confidence"), 12, _confidence),
        Column(tr("Areas"), 10, _areas),
        Column(tr("Why this kind; what to check"), 34, _remarks),
    )
    ordered = sorted(rows, key=lambda row: (list(KINDS).index(kind_of(row[ITEMS.kind]).key), row[ITEMS.item_id] or ""))
    return table_of(columns, ordered, length, empty)


def _kind_and_share(row: Mapping) -> str:
    share = row.get(ITEMS.kind_confidence)
    words = kind_name(row[ITEMS.kind])
    return words if share is None else f"{words}, {100 * share:.0f}\u00a0%"


def depth_words(row: Mapping) -> str:
    """Depth to the top of an item, least and largest, with its 1-sigma; whole millimetres."""
    low, high = row.get(ITEMS.depth_min_m), row.get(ITEMS.depth_max_m)
    if low is None or high is None:
        return tr("not known")
    depth = mm(low) if mm(low) == mm(high) else f"{mm(low)}–{mm(high)}"
    return depth if row[ITEMS.sigma_depth_m] is None else f"{depth} ± {mm(row[ITEMS.sigma_depth_m])}"


def _plan_sigma(row: Mapping) -> str:
    return "" if row[ITEMS.sigma_xy_m] is None else f"± {mm(row[ITEMS.sigma_xy_m])}"


def _confidence(row: Mapping) -> str:
    return "" if row[ITEMS.confidence] is None else f"{row[ITEMS.confidence]:.2f}"


def _areas(row: Mapping) -> str:
    return (row.get(ITEMS.area_ids) or "").replace(",", ", ")


def _remarks(row: Mapping) -> str:
    flag, by_hand = row.get(ITEMS.flag), row.get(ITEMS.source) not in (None, "computed")
    return " ".join(
        text
        for text in (
            row.get(ITEMS.reasons),
            tr("CHECK ON SITE: {reason}", reason=flag) if flag else "",
            tr("Edited by the surveyor.") if by_hand else "",
        )
        if text
    )


def mats_section(tables: SurveyTables, length: Length) -> Section:
    """Families of parallel bars: direction, spacing, cover."""
    columns = (
        Column(tr("Mat"), 7, lambda row: row[MATS.mat_id]),
        Column(tr("Level"), 15, lambda row: plane_words((row[MATS.level], row[MATS.surface]))),
        Column(tr("Areas"), 13, _areas),
        Column(tr("#Bars"), 7, lambda row: row[MATS.bar_count]),
        Column(tr("#Direction °"), 11, lambda row: f"{row[MATS.direction_deg]:.1f}"),
        Column(tr("#Spacing mm (least to largest)"), 19, _spacing),
        Column(tr("#Cover mm"), 10, lambda row: plus_minus(row[MATS.cover_mean_m], row[MATS.sigma_cover_m])),
        Column(tr("#Least"), 8, lambda row: mm(row[MATS.cover_min_m])),
        Column(tr("#5 % are below"), 10, lambda row: mm(row[MATS.cover_q05_m])),
    )
    text = tr(
        "A mat is a family of at least three parallel bars. Directions are measured anticlockwise from site x. Cover "
        "is the depth to the top of the bars. Bars that were not found are missing here too; their size is not "
        "measured."
    )  # fmt: skip
    if length is Length.RUN:
        note = tr("Directions are measured anticlockwise from the site's x axis. Bar size is not measured.")
        text = f"{MATS.description} {note}"
    listed = table_of(columns, tables.values(MATS), length, tr("No mat was found."))
    return Section(tr("Mats of bars"), [listed, Text(text)])


def _spacing(row: Mapping) -> str:
    if row[MATS.spacing_mean_m] is None:
        return tr("not known")
    limits = tr("{low} to {high}", low=mm(row[MATS.spacing_min_m]), high=mm(row[MATS.spacing_max_m]))
    return f"{plus_minus(row[MATS.spacing_mean_m], row[MATS.sigma_spacing_m])} ({limits})"


def penetrations_section(holes: Sequence[Tuple[object, Mapping]]) -> Section:
    """Planned holes, (place, values), and their verdicts, if they have any."""

    def margin(row):
        left = row.get(VERDICTS.margin_m)
        return "" if left is None else plus_minus(left, row.get(VERDICTS.sigma_margin_m))

    def chance(row):
        return "" if row.get(VERDICTS.touch_probability) is None else per_cent(row[VERDICTS.touch_probability])

    columns = (
        Column(tr("Hole"), 6, lambda row: row.get(VERDICTS.penetration_id) or ""),
        Column(tr("Site x, y m"), 13, lambda row: f"{row['place'][0]:.3f}, {row['place'][1]:.3f}"),
        Column(tr("#Diameter mm"), 11, lambda row: mm(row.get(VERDICTS.diameter_m))),
        Column(tr("#Depth mm"), 8, lambda row: mm(row.get(VERDICTS.depth_m))),
        Column(tr("Verdict"), 12, lambda row: verdict_words(row.get(VERDICTS.verdict))),
        Column(tr("Item"), 9, lambda row: row.get(VERDICTS.governing_item) or ""),
        Column(tr("#Margin mm"), 9, margin),
        Column(tr("#Probability of touching"), 10, chance),
        Column(tr("Reason"), 22, lambda row: row.get(VERDICTS.reason) or ""),
    )
    text = tr(
        "The margin is what is left of the distance to the governing item beyond the keep-out distance. 'Clear' "
        "refers to what is known. A hole that touches unknown ground is unknown, whatever else is near it. Whether a "
        "hole is drilled is decided by the responsible engineer."
    )  # fmt: skip
    listed = table_of(columns, [{**row, "place": place} for place, row in holes], Length.CLIENT)
    return Section(tr("Planned penetrations"), [listed, Text(text)], new_page=True)


def radargrams_section(pictures: Sequence[Path]) -> Section:
    """Pictures of lines."""
    text = tr(
        "Distance along the scan line to the right, time downwards. Items are marked where they cross the line: "
        "filled marks were seen on this line, open ones are known from others."
    )  # fmt: skip
    shown = [Picture(path, path.stem.replace("_", " ")) for path in pictures]
    return Section(tr("Radargrams"), [Text(text), *shown], new_page=True)
