"""What a surveyor changed in the layers `items` and `picks` since a run wrote them.

Every run also writes the table `last_written`: each row's id, course and a fingerprint of all its values. A row whose values are
not those any more, one marked as the surveyor's, and one that no run wrote, are the surveyor's; a row that is missing was deleted.
What was computed and gave way to the surveyor stands in the table `dismissed`, so that later runs know it again.
"""

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..floor.edited_rows import COMPUTED, SURVEYOR, Drawn, Edits, Known
from ..items.model import Item, Pick
from ..store import reading
from ..store.geopackage import read_layer
from ..store.layer import Layer, RowsOf, layer_of
from ..store.schema import DISMISSED, ITEMS, LAST_WRITTEN, PICKS, SCAN_AREAS

IDS = {ITEMS.name: ITEMS.item_id, PICKS.name: PICKS.pick_id}
# What every run wrote, of whichever version.
_COLUMNS = {table.name: [name for name in table.columns if name not in table.absent] for table in (ITEMS, PICKS)}
# Which row a row of `last_written` or `dismissed` means; `Known` calls them so, too.
_ROW = (LAST_WRITTEN.layer, LAST_WRITTEN.row_id, LAST_WRITTEN.area_id, LAST_WRITTEN.line_id, LAST_WRITTEN.kind)


def identity(areas: Iterable[Mapping]) -> frozenset:
    """What tells scan areas, given as their values by name, from those of another survey."""
    return frozenset(
        tuple(
            area[name] or ""
            for name in (SCAN_AREAS.area_id, SCAN_AREAS.level, SCAN_AREAS.surface, SCAN_AREAS.scanned_on)
        )
        for area in areas
    )


def read_edits(survey_path) -> Edits:
    """Compares the layers of `survey_path` with what was last written; nothing where there is no such file yet."""
    survey_path = Path(survey_path)
    if not survey_path.is_file():
        return Edits()
    return _compare(survey_path)


def _compare(survey_path: Path) -> Edits:
    written = {(one.layer, one.row_id): one for one in _read_known(survey_path, LAST_WRITTEN.name)}
    dismissed = _read_known(survey_path, DISMISSED.name)
    drawn: Dict[str, List[Drawn]] = {ITEMS.name: [], PICKS.name: []}
    untouched: List[Known] = []
    picks: List[Pick] = []
    for layer, rows in drawn.items():
        left = {row_id: one for (of, row_id), one in written.items() if of == layer}
        stored = read_layer(survey_path, layer)
        for _, values in stored[
            : bool(written)
        ]:  # all rows have the same columns; without one of them all would look edited
            values.require(_COLUMNS[layer])
        for position, values in stored:
            row_id = values[IDS[layer]]
            before = left.pop(row_id, None)
            if values.get(ITEMS.source) != SURVEYOR and (
                not written or (before is not None and before.fingerprint == fingerprint(position, values))
            ):
                if before is not None:
                    untouched.append(before)
                if layer == PICKS.name:
                    picks.append(reading.pick_of(values))
                continue
            rows.append(Drawn(row_id, position, values, before))
            if before is not None and before.source == COMPUTED:
                dismissed.append(replace(before, instead=row_id))
        dismissed += [one for one in left.values() if one.source == COMPUTED]
    there = {(layer, one.row_id) for layer, rows in drawn.items() for one in rows}
    dismissed = [one if (one.layer, one.instead) in there else replace(one, instead=None) for one in dismissed]
    return Edits(
        tuple(drawn[ITEMS.name]),
        tuple(drawn[PICKS.name]),
        tuple(dismissed),
        tuple(untouched),
        tuple(picks),
        reading.read_places(survey_path),
        identity(row for _, row in read_layer(survey_path, SCAN_AREAS.name)),
    )


def edited_since(survey_path) -> bool:
    """Was a row of `items` or `picks` drawn, changed or deleted after a run wrote these layers last?"""
    written = {(one.layer, one.row_id): one.fingerprint for one in _read_known(survey_path, LAST_WRITTEN.name)}
    if not written:
        return False
    there = {
        (layer, values[name]): fingerprint(position, values)
        for layer, name in IDS.items()
        for position, values in read_layer(survey_path, layer)
    }
    return there != written


def fingerprint(position, values: Mapping) -> str:
    """Of one row: the same as long as no value changes (numbers to six digits) and no vertex moves (0.1 mm)."""
    told = []
    for name in sorted(values):
        value = values[name]
        if name == ITEMS.source or value is None or value == "" or value != value:
            continue
        told.append(f"{name}={float(value):.6g}" if not isinstance(value, str) else f"{name}={value}")
    if position is not None:
        # Adding nought makes minus nought plain nought.
        told += [f"{number:.4f}" for number in np.round(np.ravel(position), 4) + 0.0]
    return hashlib.sha256("|".join(told).encode()).hexdigest()[:16]


def last_written_layer(items: Sequence[Item], item_rows: Layer, picks: Sequence[Pick], pick_rows: Layer) -> Layer:
    """`last_written`, for rows of `items` and `picks` that are about to be written; `picks` are the computed ones, in order."""
    lines = {item.item_id: item.vertices_m for item in items}
    local = {pick.pick_id: (pick.x_m, pick.y_m, pick.depth_m) for pick in picks}

    def row_of(written):
        layer, number = written
        position, values = layer.rows[number]
        if layer is item_rows:
            area_id, line_id, kind = values[ITEMS.area_ids].split(",")[0], None, values[ITEMS.kind]
            course = lines[values[ITEMS.item_id]]
        else:
            area_id, line_id, kind = values[PICKS.area_id], values[PICKS.line_id], None
            place = local.get(values[PICKS.pick_id]) or tuple(
                values[name] for name in (PICKS.local_x_m, PICKS.local_y_m, PICKS.depth_m)
            )
            course = np.array([place])
        known = Known(layer.name, values[IDS[layer.name]], area_id, line_id, kind, course)
        return _known_row(known, values[PICKS.source], fingerprint(position, values))

    rows = RowsOf([(layer, number) for layer in (item_rows, pick_rows) for number in range(len(layer.rows))], row_of)
    return layer_of(LAST_WRITTEN, rows)


def dismissed_layer(dismissed: Iterable[Known]) -> Layer:
    """`dismissed`: what was computed and gave way to what a surveyor drew or deleted."""
    rows = [(None, {**_known_row(one)[1], DISMISSED.instead: one.instead}) for one in dismissed]
    return layer_of(DISMISSED, rows)


def _known_row(known: Known, source: Optional[str] = None, mark: Optional[str] = None) -> Tuple[None, Dict]:
    values = {name: getattr(known, name) for name in _ROW}
    values[LAST_WRITTEN.vertices_m] = json.dumps(np.asarray(known.vertices_m, float).tolist())
    if source is not None:
        values.update(source=source, fingerprint=mark)
    return None, values


def _read_known(survey_path, table: str) -> List[Known]:
    return [
        Known(
            *(row[name] for name in _ROW),
            np.array(json.loads(row[LAST_WRITTEN.vertices_m])),
            row.get(LAST_WRITTEN.source, COMPUTED),
            row.get(LAST_WRITTEN.fingerprint, ""),
            row.get(DISMISSED.instead),
        )
        for _, row in read_layer(survey_path, table)
    ]
