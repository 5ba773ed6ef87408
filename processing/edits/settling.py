"""A run keeps what a surveyor edited: edited rows stay, and what was computed again in their place is not added again."""

from collections import defaultdict
from dataclasses import replace
from typing import Dict, List, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..floor.edited_rows import Edits, Known
from ..floor.placing import plane_of
from ..floor.result import Found, SurveyRead
from ..items.join import flagged
from ..items.model import Item, Pick
from ..items.same_object import MOST_OF_IT, SAME_PICK_DEPTH_M, SAME_PICK_M, KnownLines, beside
from ..store.schema import ITEMS, PICKS
from ..survey.model import Finding, Survey
from .carried_over import Places, Taken, take_item, take_pick
from .hand_edits import identity, read_edits

# Where the findings stand that every joining makes anew.
HAND, JOINING = "hand edits", "joining of items"


def check_same_survey(survey_path, survey: Survey) -> None:
    """Raises `ProcessingError` where the file to be replaced holds hand edits of another survey."""
    edits = read_edits(survey_path)
    if edits and not edits.areas & identity(vars(area) for area in survey.areas):
        raise ProcessingError(
            tr(
                "{path} contains hand edits of a survey other than {folder}; choose another output folder.",
                path=survey_path,
                folder=survey.folder,
            )
        )


def settle(read: SurveyRead, found: Found, monitor: Monitor) -> Found:
    """What follows joining: edits by hand that `read.survey_path` holds are kept; items that disagree are flagged."""
    found = replace(found.without_findings_at(HAND, JOINING), by_hand={}, drawn_picks=(), dismissed=())
    edits = read_edits(read.survey_path)
    if edits:
        found = _keep_edits(read, found, edits, monitor)
    found = replace(found, items=tuple(flagged(found.items, found.disagreements)))
    for one in found.disagreements:
        first, _ = one.item_ids
        sentence = tr("Item {item}: {sentence}", item=first, sentence=one.sentence(first))
        found = found.noting(Finding("warning", JOINING, sentence))
        monitor.warn(sentence)
    return found


def _keep_edits(read: SurveyRead, found: Found, edits: Edits, monitor: Monitor) -> Found:
    places = Places(read.areas, edits.places, found.fits)
    found = replace(found, dismissed=tuple(_carried(one, places) for one in edits.dismissed))
    untouched = [_carried(one, places) for one in edits.untouched]
    found, taken = _take_items(found, edits, places, monitor)
    found, items_aside = _keep_items(read, found, taken, untouched)
    found, picks_aside = _keep_picks(found, edits, places, untouched, monitor)
    found = _tell_longer_ones(read, found, untouched, monitor)
    return _say(found, len(taken), items_aside + picks_aside, monitor)


def _carried(known: Known, places: Places) -> Known:
    """Where a row lies now; picks are local anyway."""
    if known.layer == PICKS.name or known.area_id not in places.areas:
        return known
    return replace(known, vertices_m=places.carried(known.vertices_m, known.area_id))


def _take_items(found: Found, edits: Edits, places: Places, monitor: Monitor) -> Tuple[Found, List[Taken]]:
    """The surveyor's items where they lie now; in `found`, what was to be said of them."""
    taken: List[Taken] = []
    names = {drawn.row_id for drawn in edits.items}
    used: set = set()
    for drawn in edits.items:
        item_id = drawn.row_id if drawn.row_id and drawn.row_id not in used else _free(drawn.row_id or "hand", names)
        used.add(item_id)
        names.add(item_id)
        one = take_item(drawn, item_id, places, tuple(ITEMS.columns))
        if one is None:
            what = tr("Item {item} has no line, or lies in no area with a position; it was left out.", item=item_id)
            found = _without(found, ITEMS.name, item_id, what, monitor)
            continue
        taken.append(one)
        for sentence in one.warnings:
            found = _warned(found, tr("Item {item}: {sentence}", item=item_id, sentence=sentence), monitor)
    return found, taken


def _keep_items(
    read: SurveyRead, found: Found, taken: Sequence[Taken], untouched: Sequence[Known]
) -> Tuple[Found, int]:
    """The surveyor's items in the place of what was computed again; and how many computed ones are not added."""
    dismissed = [one for one in found.dismissed if one.layer == ITEMS.name]
    known: Dict[Tuple, List[Tuple[np.ndarray, bool, Optional[str]]]] = defaultdict(list)  # line, gives way, to which
    for one in taken:
        known[_frame(read, found, one.item.area_ids[0])].append((one.item.vertices_m, True, one.item.item_id))
    for gives_way, rows in ((True, dismissed), (False, untouched)):
        for one in rows:
            if one.layer == ITEMS.name and one.area_id in read.areas:
                known[_frame(read, found, one.area_id)].append((one.vertices_m, gives_way, one.instead))
    lines = {frame: KnownLines([line for line, _, _ in rows]) for frame, rows in known.items()}
    names = {one.item.item_id for one in taken}
    became: Dict[str, Optional[str]] = {}
    kept: List[Item] = []
    for item in found.items:
        frame = _frame(read, found, item.area_ids[0])
        number = lines[frame].find_same(item.vertices_m, item.sigma_xy_m) if frame in lines else None
        if number is not None and known[frame][number][1]:
            became[item.item_id] = known[frame][number][2]
            continue
        new_id = item.item_id if item.item_id not in names else _free(item.item_id, names)
        names.add(new_id)
        became[item.item_id] = new_id
        kept.append(replace(item, item_id=new_id))
    joined_as = dict(found.joined_as)
    for area_item in found.area_items:
        joined = joined_as.get(area_item.item_id, area_item.item_id)
        joined_as[area_item.item_id] = became.get(joined, joined)
    settled = replace(
        found,
        items=(*kept, *(one.item for one in taken)),
        joined_as=joined_as,
        by_hand={one.item.item_id: one.columns for one in taken},
        # A disagreement with what a surveyor edited or deleted is settled.
        disagreements=tuple(
            one for one in found.disagreements if all(became.get(name) == name for name in one.item_ids)
        ),
    )
    return settled, len(found.items) - len(kept)


def _tell_longer_ones(read: SurveyRead, found: Found, untouched: Sequence[Known], monitor: Monitor) -> Found:
    """With a finding where a new item runs along what a surveyor deleted, and beyond."""
    deleted = [one for one in found.dismissed if one.instead is None and one.layer == ITEMS.name]
    lines = KnownLines([one.vertices_m for one in untouched if one.layer == ITEMS.name])
    for item in found.items if deleted else ():
        if item.item_id in found.by_hand or lines.find_same(item.vertices_m, item.sigma_xy_m) is not None:
            continue
        frame = _frame(read, found, item.area_ids[0])
        for one in deleted:
            same_frame = one.area_id in read.areas and _frame(read, found, one.area_id) == frame
            if same_frame and beside(one.vertices_m, item.vertices_m)[0] >= MOST_OF_IT:
                what = tr(
                    "Item {item} runs along {deleted}, which the surveyor deleted, and continues beyond it: it is "
                    "shown again.",
                    item=item.item_id,
                    deleted=one.row_id,
                )
                found = _warned(found, what, monitor)
    return found


def _keep_picks(
    found: Found, edits: Edits, places: Places, untouched: Sequence[Known], monitor: Monitor
) -> Tuple[Found, int]:
    """The surveyor's picks in the place of what was computed again; and how many computed ones are not added."""
    item_ids = {item.item_id for item in found.items}
    names = {drawn.row_id for drawn in edits.picks}
    used: set = set()
    known: Dict[str, List[Tuple[Optional[str], np.ndarray, bool]]] = defaultdict(list)
    drawn_picks = []
    for drawn in edits.picks:
        pick_id = drawn.row_id if drawn.row_id and drawn.row_id not in used else _free(drawn.row_id or "hand", names)
        used.add(pick_id)
        names.add(pick_id)
        row = take_pick(drawn, pick_id, places, item_ids)
        if row is None:
            what = tr("Pick {pick} lies in no area with a position; it was left out.", pick=pick_id)
            found = _without(found, PICKS.name, pick_id, what, monitor)
            continue
        drawn_picks.append(row)
        values = row[1]
        place = np.array([values[PICKS.local_x_m], values[PICKS.local_y_m], values[PICKS.depth_m]])
        known[values[PICKS.area_id]].append((values.get(PICKS.line_id), place, True))
    for gives_way, rows in ((True, found.dismissed), (False, untouched)):
        for one in rows:
            if one.layer == PICKS.name:
                known[one.area_id].append((one.line_id, one.vertices_m[0], gives_way))
    sightings = {area_id: _Sightings(rows) for area_id, rows in known.items()}
    kept = []
    for pick in found.picks:
        if pick.area_id not in sightings or not sightings[pick.area_id].gives_way(pick):
            new_id = pick.pick_id if pick.pick_id not in names else _free(pick.pick_id, names)
            names.add(new_id)
            kept.append(replace(pick, pick_id=new_id))
    return replace(found, picks=tuple(kept), drawn_picks=tuple(drawn_picks)), len(found.picks) - len(kept)


class _Sightings:
    """Known picks of one area: their line (None: any), local place (x, y, depth), and whether what is there now gives way."""

    def __init__(self, rows: Sequence[Tuple[Optional[str], np.ndarray, bool]]):
        self._lines = np.array([line_id for line_id, _, _ in rows], dtype=object)
        self._any_line = np.array([line_id is None for line_id, _, _ in rows])
        self._places = np.array([place for _, place, _ in rows])
        self._gives_way = np.array([gives_way for _, _, gives_way in rows])

    def gives_way(self, pick: Pick) -> bool:
        """Is the nearest of the known ones that could be `pick` one that stays in its place?"""
        away = self._places - (pick.x_m, pick.y_m, pick.depth_m)
        in_plan = np.hypot(away[:, 0], away[:, 1])
        near = (in_plan <= SAME_PICK_M) & (np.abs(away[:, 2]) <= SAME_PICK_DEPTH_M)
        near &= self._any_line | (self._lines == pick.line_id)
        if not near.any():
            return False
        distance = np.where(near, np.hypot(in_plan, away[:, 2]), np.inf)
        return bool(self._gives_way[distance == distance.min()].any())


def _frame(read: SurveyRead, found: Found, area_id: str) -> Tuple:
    """What the vertices of an area's items are coordinates in: its plane of the site grid, or its own local grid."""
    return plane_of(read.areas[area_id]) if found.fits[area_id].is_fitted else (area_id,)


def _free(name: str, names) -> str:
    return next(f"{name}-h{number}" for number in range(1, len(names) + 2) if f"{name}-h{number}" not in names)


def _without(found: Found, layer: str, row_id: str, what: str, monitor: Monitor) -> Found:
    """Without a surveyor's row that cannot be used; what was computed in its place comes back."""
    left = tuple(one for one in found.dismissed if (one.layer, one.instead) != (layer, row_id))
    return _warned(replace(found, dismissed=left), what, monitor)


def _warned(found: Found, sentence: str, monitor: Monitor) -> Found:
    monitor.warn(sentence)
    return found.noting(Finding("warning", HAND, sentence))


def _counted(items: int, picks: int, item_ids: Sequence[str]) -> str:
    named = f" ({', '.join(item_ids)})" if item_ids else ""
    of_items = trn("{count} item", "{count} items", items)
    of_picks = trn("{count} pick", "{count} picks", picks)
    return f"{of_items}{named}{tr(' and ')}{of_picks}"


def _say(found: Found, items: int, set_aside: int, monitor: Monitor) -> Found:
    """With what was kept and what was not brought back."""
    deleted = [one.row_id for one in found.dismissed if one.instead is None and one.layer == ITEMS.name]
    picks = sum(one.instead is None and one.layer == PICKS.name for one in found.dismissed)
    sentences = []
    if items or found.drawn_picks:
        kept = _counted(items, len(found.drawn_picks), list(found.by_hand))
        sentences.append(tr("Kept as the surveyor left them: {kept}.", kept=kept))
    if deleted or picks:
        gone = _counted(len(deleted), picks, deleted)
        sentences.append(tr("Deleted by the surveyor and not brought back: {gone} (table 'dismissed').", gone=gone))
    if set_aside:
        sentences.append(
            trn(
                "{count} computed item or pick was replaced by these.",
                "{count} computed items and picks were replaced by these.",
                set_aside,
            )
        )
    for sentence in sentences:
        monitor.log(sentence)
    # The number that gave way differs between steps that start from different things: it is logged only.
    for sentence in sentences[: len(sentences) - bool(set_aside)]:
        found = found.noting(Finding("note", HAND, sentence))
    return found
