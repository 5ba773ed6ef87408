"""Points along the items for setting-out instruments: a plain table and, beside it, a text that says what it is."""

import csv
import io
from pathlib import Path
from typing import List, Optional, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.kinds import KINDS, kind_of
from ..common.vocabulary.surfaces import is_elevation, is_from_below
from ..geometry.polylines import evenly_spaced
from ..reports.plane_content import Drawing, GridChange
from ..store.publish import write_text
from ..store.schema import ITEMS, PENETRATION_VERDICTS
from . import layer_names as names
from .dxf import hole_code, notes

DEPTH = "depth_m"

Row = Tuple[str, float, float, float, str]


def write_points(
    path, drawing: Drawing, grid: GridChange, spacing_m: float = 0.5, surface_height_m: Optional[float] = None
) -> int:
    """Writes ``point_id,x_m,y_m,depth_m,code`` (or ``height_m``) and ``<name>-read-me.txt`` beside it; returns the count.

    `surface_height_m` is the height of the scanned surface in whatever heights the site uses; without it the fourth column is
    the depth. Raises `ProcessingError`.
    """
    if not spacing_m > 0.0:
        raise ProcessingError(tr("The spacing of setting-out points must be greater than zero."))
    rows = point_rows(drawing, grid, spacing_m)
    column = DEPTH
    if surface_height_m is not None:
        column = "height_m"
        rows = [(*row[:3], _height(drawing.surface, surface_height_m, row[3]), row[4]) for row in rows]
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")  # RFC 4180
    table.writerow(("point_id", "x_m", "y_m", column, "code"))
    table.writerows((row[0], *(f"{number + 0.0:.4f}" for number in row[1:4]), row[4]) for row in rows)
    path = Path(path)
    write_text(path.with_name(f"{path.stem}-read-me.txt"), _read_me(path, drawing, grid, column, spacing_m))
    write_text(path, text.getvalue())
    return len(rows)


def point_rows(drawing: Drawing, grid: GridChange, spacing_m: float) -> List[Row]:
    """Both ends of each item and points between them at most `spacing_m` apart, evenly; then the middles of the holes."""
    rows: List[Row] = []
    for number, (line, row) in enumerate(drawing.placed, 1):
        code = kind_of(row[ITEMS.kind]).code
        for place_number, place in enumerate(grid(evenly_spaced(line, spacing_m)), 1):
            rows.append((f"{row[ITEMS.item_id] or f'N{number}'}-{place_number}", place[0], place[1], -place[2], code))
    for place, row in drawing.holes:
        x, y = grid(np.asarray(place, float)[None, :2])[0]
        rows.append(
            (str(row.get(PENETRATION_VERDICTS.penetration_id, "")), x, y, 0.0, f"{names.HOLE}-{hole_code(row)}")
        )
    return rows


def _height(surface: str, surface_height_m: float, depth_m: float) -> float:
    if is_elevation(surface):
        raise ProcessingError(tr("Depths on a wall give no heights; leave the height of the surface empty."))
    return surface_height_m + (depth_m if is_from_below(surface) else -depth_m)


def _read_me(path: Path, drawing: Drawing, grid: GridChange, column: str, spacing_m: float) -> str:
    codes = ", ".join(f"{kind.code} = {kind.word}" for kind in KINDS.values())
    meaning = {
        DEPTH: tr(
            "depth_m: depth from the scanned surface to the top of the item, positive downwards (into the wall)."
        ),
        "height_m": tr("height_m: height of the side of the item that faces the scanned surface."),
    }[column]
    lines = [
        tr("{file}: points to set out", file=path.name),
        "",
        tr("Comma-separated, decimal point, one header line, metres. Grid: {grid}.", grid=grid.name),
        tr("x_m: east, or site x. y_m: north, or site y."),
        meaning,
        tr(
            "point_id: item and number along it; both ends and points between, at most {spacing} m apart.",
            spacing=f"{spacing_m:g}",
        ),
        tr("code: {codes}, HOLE-... = middle of a planned hole at the surface, with its verdict.", codes=codes),
        "",
        *notes(drawing, grid),
    ]
    return "\r\n".join(lines) + "\r\n"
