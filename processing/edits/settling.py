"""A run keeps what a surveyor edited: edited rows stay, and what was computed again in their place is not added again."""

from collections import defaultdict
from dataclasses import replace
from typing import Dict, List, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..floor.edited_rows import Edits, Known
from ..floor.placing import plane_of
from ..floor.result import ChainResult
from ..items.join import flagged
from ..items.model import Item, Pick
from ..items.same_object import MOST_OF_IT, KnownLines, beside
from ..store.schema import ITEMS, PICKS
from ..survey.model import Survey
from .carried_over import Places, Taken, take_item, take_pick
from .hand_edits import identity, read_edits

# Where the findings stand that every joining makes anew.
HAND, JOINING = "hand edits", "joining of items"
# Two sightings on one line are the same when they are no further apart than this (along the line, in depth), metres.
SAME_PICK_M, SAME_PICK_DEPTH_M = 0.015, 0.030


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


def settle(result: ChainResult, monitor: Monitor) -> None:
    """What follows joining: edits by hand that `result.survey_path` holds are kept; items that disagree are flagged."""
    result.findings = [found for found in result.findings if found.where not in (HAND, JOINING)]
    result.by_hand, result.drawn_picks, result.dismissed = {}, [], []
    edits = read_edits(result.survey_path)
    if edits:
        _keep_edits(result, edits, monitor)
    result.items = flagged(result.items, result.disagreements)
    for found in result.disagreements:
        first, _ = found.item_ids
        sentence = tr("Item {item}: {sentence}", item=first, sentence=found.sentence(first))
        result.note("warning", JOINING, sentence)
        monitor.warn(sentence)


def _keep_edits(result: ChainResult, edits: Edits, monitor: Monitor) -> None:
    places = Places(result.areas, edits.places, result.fits)
    result.dismissed = [_carried(one, places) for one in edits.dismissed]
    untouched = [_carried(one, places) for one in edits.untouched]
    taken = _take_items(result, edits, places, monitor)
    set_aside = _keep_items(result, taken, untouched)
    set_aside += _keep_picks(result, edits, places, untouched, monitor)
    _tell_longer_ones(result, untouched, monitor)
    _say(result, len(taken), set_aside, monitor)


def _carried(known: Known, places: Places) -> Known:
    """Where a row lies now; picks are local anyway."""
    if known.layer == PICKS.name or known.area_id not in places.areas:
        return known
    return replace(known, vertices_m=places.carried(known.vertices_m, known.area_id))


def _take_items(result: ChainResult, edits: Edits, places: Places, monitor: Monitor) -> List[Taken]:
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
            _leave_out(result, ITEMS.name, item_id, what, monitor)
            continue
        taken.append(one)
        for sentence in one.warnings:
            _warn(result, tr("Item {item}: {sentence}", item=item_id, sentence=sentence), monitor)
    return taken


def _keep_items(result: ChainResult, taken: Sequence[Taken], untouched: Sequence[Known]) -> int:
    """Replaces what was computed again by the surveyor's items; returns how many computed ones are not added."""
    dismissed = [one for one in result.dismissed if one.layer == ITEMS.name]
    known: Dict[Tuple, List[Tuple[np.ndarray, bool, Optional[str]]]] = defaultdict(list)  # line, gives way, to which
    for one in taken:
        known[_frame(result, one.item.area_ids[0])].append((one.item.vertices_m, True, one.item.item_id))
    for gives_way, rows in ((True, dismissed), (False, untouched)):
        for one in rows:
            if one.layer == ITEMS.name and one.area_id in result.areas:
                known[_frame(result, one.area_id)].append((one.vertices_m, gives_way, one.instead))
    lines = {frame: KnownLines([line for line, _, _ in rows]) for frame, rows in known.items()}
    names = {one.item.item_id for one in taken}
    became: Dict[str, Optional[str]] = {}
    kept: List[Item] = []
    for item in result.items:
        frame = _frame(result, item.area_ids[0])
        number = lines[frame].find_same(item.vertices_m, item.sigma_xy_m) if frame in lines else None
        if number is not None and known[frame][number][1]:
            became[item.item_id] = known[frame][number][2]
            continue
        new_id = item.item_id if item.item_id not in names else _free(item.item_id, names)
        names.add(new_id)
        became[item.item_id] = new_id
        kept.append(replace(item, item_id=new_id))
    for area_item in result.area_items:
        joined = result.joined_as.get(area_item.item_id, area_item.item_id)
        result.joined_as[area_item.item_id] = became.get(joined, joined)
    set_aside = len(result.items) - len(kept)
    result.items = [*kept, *(one.item for one in taken)]
    result.by_hand = {one.item.item_id: one.columns for one in taken}
    # A disagreement with what a surveyor edited or deleted is settled.
    result.disagreements = [
        found for found in result.disagreements if all(became.get(name) == name for name in found.item_ids)
    ]
    return set_aside


def _tell_longer_ones(result: ChainResult, untouched: Sequence[Known], monitor: Monitor) -> None:
    """A finding where a new item runs along what a surveyor deleted, and beyond."""
    deleted = [one for one in result.dismissed if one.instead is None and one.layer == ITEMS.name]
    lines = KnownLines([one.vertices_m for one in untouched if one.layer == ITEMS.name])
    for item in result.items if deleted else ():
        if item.item_id in result.by_hand or lines.find_same(item.vertices_m, item.sigma_xy_m) is not None:
            continue
        for one in deleted:
            same_frame = one.area_id in result.areas and _frame(result, one.area_id) == _frame(result, item.area_ids[0])
            if same_frame and beside(one.vertices_m, item.vertices_m)[0] >= MOST_OF_IT:
                what = tr(
                    "Item {item} runs along {deleted}, which the surveyor deleted, and continues beyond it: it is "
                    "shown again.",
                    item=item.item_id,
                    deleted=one.row_id,
                )
                _warn(result, what, monitor)


def _keep_picks(result: ChainResult, edits: Edits, places: Places, untouched: Sequence[Known], monitor: Monitor) -> int:
    item_ids = {item.item_id for item in result.items}
    names = {drawn.row_id for drawn in edits.picks}
    used: set = set()
    known: Dict[str, List[Tuple[Optional[str], np.ndarray, bool]]] = defaultdict(list)
    for drawn in edits.picks:
        pick_id = drawn.row_id if drawn.row_id and drawn.row_id not in used else _free(drawn.row_id or "hand", names)
        used.add(pick_id)
        names.add(pick_id)
        row = take_pick(drawn, pick_id, places, item_ids)
        if row is None:
            what = tr("Pick {pick} lies in no area with a position; it was left out.", pick=pick_id)
            _leave_out(result, PICKS.name, pick_id, what, monitor)
            continue
        result.drawn_picks.append(row)
        values = row[1]
        place = np.array([values[PICKS.local_x_m], values[PICKS.local_y_m], values[PICKS.depth_m]])
        known[values[PICKS.area_id]].append((values.get(PICKS.line_id), place, True))
    for gives_way, rows in ((True, result.dismissed), (False, untouched)):
        for one in rows:
            if one.layer == PICKS.name:
                known[one.area_id].append((one.line_id, one.vertices_m[0], gives_way))
    sightings = {area_id: _Sightings(rows) for area_id, rows in known.items()}
    kept = []
    for pick in result.picks:
        if pick.area_id not in sightings or not sightings[pick.area_id].gives_way(pick):
            new_id = pick.pick_id if pick.pick_id not in names else _free(pick.pick_id, names)
            names.add(new_id)
            kept.append(replace(pick, pick_id=new_id))
    set_aside = len(result.picks) - len(kept)
    result.picks = kept
    return set_aside


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


def _frame(result: ChainResult, area_id: str) -> Tuple:
    """What the vertices of an area's items are coordinates in: its plane of the site grid, or its own local grid."""
    return plane_of(result.areas[area_id]) if result.fits[area_id].is_fitted else (area_id,)


def _free(name: str, names) -> str:
    return next(f"{name}-h{number}" for number in range(1, len(names) + 2) if f"{name}-h{number}" not in names)


def _leave_out(result: ChainResult, layer: str, row_id: str, what: str, monitor: Monitor) -> None:
    """A surveyor's row that cannot be used; what was computed in its place comes back."""
    result.dismissed = [one for one in result.dismissed if (one.layer, one.instead) != (layer, row_id)]
    _warn(result, what, monitor)


def _warn(result: ChainResult, sentence: str, monitor: Monitor) -> None:
    result.note("warning", HAND, sentence)
    monitor.warn(sentence)


def _counted(items: int, picks: int, item_ids: Sequence[str]) -> str:
    named = f" ({', '.join(item_ids)})" if item_ids else ""
    of_items = tr("1 item") if items == 1 else tr("{count} items", count=items)
    of_picks = tr("1 pick") if picks == 1 else tr("{count} picks", count=picks)
    return f"{of_items}{named}{tr(' and ')}{of_picks}"


def _say(result: ChainResult, items: int, set_aside: int, monitor: Monitor) -> None:
    deleted = [one.row_id for one in result.dismissed if one.instead is None and one.layer == ITEMS.name]
    picks = sum(one.instead is None and one.layer == PICKS.name for one in result.dismissed)
    sentences = []
    if items or result.drawn_picks:
        kept = _counted(items, len(result.drawn_picks), list(result.by_hand))
        sentences.append(tr("Kept as the surveyor left them: {kept}.", kept=kept))
    if deleted or picks:
        gone = _counted(len(deleted), picks, deleted)
        sentences.append(tr("Deleted by the surveyor and not brought back: {gone} (table 'dismissed').", gone=gone))
    if set_aside:
        sentences.append(tr("{count} computed items and picks were replaced by these.", count=set_aside))
    for sentence in sentences:
        monitor.log(sentence)
    # The number that gave way differs between steps that start from different things: it is logged only.
    for sentence in sentences[: len(sentences) - bool(set_aside)]:
        result.note("note", HAND, sentence)
