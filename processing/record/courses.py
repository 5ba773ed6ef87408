"""The course of an item from all observations of it and from what was measured on it, with its uncertainty."""

import json
from dataclasses import dataclass
from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import VERIFIED
from ..geometry.polylines import nearest_on
from ..items.combining import combine, combined_sigma, updated, usual_sigma, widened
from ..items.model import Item
from ..items.same_object import is_straight
from . import speeds
from .history import Book
from .schema import GEOMETRY
from .store import Row

# An item's depth varies along it by at least this around what is measured at one place (scatter on simulated slabs), metres.
ALONG_M = 0.0015


@dataclass(frozen=True)
class Course:
    """Vertices (x, y, depth) and 1-sigmas across and in depth, metres."""

    vertices_m: np.ndarray
    sigma_xy_m: float
    sigma_depth_m: float


def find_course(book: Book, corrections: speeds.Corrections, rows: Sequence[Row], proofs: Sequence[Row]) -> Course:
    """The item's course from its observations (at least one with a place) and its verifications."""
    placed = [row for row in rows if row[GEOMETRY]]
    measured = [one for one in proofs if one["outcome"] == VERIFIED and one[GEOMETRY]]
    deep = [one for one in measured if one["depth_m"] is not None]
    # What was measured on the item itself also moved the wave speed: starting from the surveys' own, it counts once.
    course = _combine(book, None if deep else corrections, placed)
    vertices, sigma_xy, sigma_depth = course.vertices_m, course.sigma_xy_m, course.sigma_depth_m
    if deep:
        tops = nearest_on(vertices, [one[GEOMETRY] for one in deep]).foot_m[:, 2]
        off = [one["depth_m"] - float(top) for one, top in zip(deep, tops)]
        shift, sigma = updated(0.0, sigma_depth, off, [one["sigma_depth_m"] for one in deep])
        vertices = vertices + [0.0, 0.0, shift]
        sigma_depth = min(sigma_depth, float(np.hypot(sigma, ALONG_M)))
    for one in (one for one in measured if one["sigma_xy_m"]):
        (foot,) = nearest_on(vertices, [one[GEOMETRY]]).foot_m
        aside = np.asarray(one[GEOMETRY][:2]) - foot[:2]
        share = sigma_xy**2 / (sigma_xy**2 + one["sigma_xy_m"] ** 2)
        vertices = vertices + np.array([*(share * aside), 0.0])
        sigma_xy = float(updated(0.0, sigma_xy, [0.0], [one["sigma_xy_m"]])[1])
    return Course(vertices, sigma_xy, sigma_depth)


def _combine(book: Book, corrections: Optional[speeds.Corrections], rows: Sequence[Row]) -> Course:
    """All observations as one course; without `corrections` with depths as the surveys stated them."""
    pieces = [_piece(book, corrections, row) for row in rows]
    straight = all(is_straight(piece) for piece, _ in pieces)
    # Averaged across a common direction, which a bent course does not have: there the surest one stands for all.
    surest = min((piece for piece, _ in pieces), key=lambda piece: (piece.sigma_xy_m, piece.item_id))
    merged = combine([piece for piece, _ in pieces]) if straight else surest
    surveys = sorted({row["survey_id"] for row in rows}, key=speeds.number_in)
    if len(surveys) == 1:
        sigmas = [[getattr(piece, name) for piece, _ in pieces] for name in ("sigma_xy_m", "sigma_depth_m")]
        return Course(merged.vertices_m, *(usual_sigma(values) for values in sigmas))
    groups = [
        [(piece, parts) for (piece, parts), row in zip(pieces, rows) if row["survey_id"] == one] for one in surveys
    ]
    own_rows = [[row for row in rows if row["survey_id"] == one] for one in surveys]
    out = []
    for axis, shares in (("xy", _share(book, own_rows, _points_of)), ("depth", _share(book, own_rows, _speeds_of))):
        own = [usual_sigma([parts[axis][0] for _, parts in group]) for group in groups]
        common = [usual_sigma([parts[axis][1] for _, parts in group]) for group in groups]
        _, sigma = combined_sigma(own, common, shares)
        offsets = [_offset([piece for piece, _ in group], merged.vertices_m, axis) for group in groups]
        out.append(widened(sigma, offsets, np.hypot(own, common)))
    return Course(merged.vertices_m, *out)


def _piece(
    book: Book, corrections: Optional[speeds.Corrections], row: Row
) -> Tuple[Item, Mapping[str, Tuple[float, float]]]:
    """An observation as an item, and its own and common 1-sigma in plan and in depth, metres."""
    vertices = np.asarray(row[GEOMETRY], float) * [1.0, 1.0, -1.0]
    own, common = row["sigma_own_depth_m"] or 0.0, row["sigma_speed_m"] or 0.0
    if corrections is not None:
        areas = speeds.speed_areas(book, row)
        stated = float(vertices[:, 2].mean())
        vertices[:, 2] = corrections.depths(areas, vertices[:, 2], own)
        own, common = corrections.sigmas(areas, stated, own, common)
    parts = {"xy": (row["sigma_own_xy_m"] or 0.0, row["sigma_fit_m"] or 0.0), "depth": (own, common)}
    kinds = {kind: row[f"p_{kind}"] or 0.0 for kind in KINDS}
    total = {axis: max(float(np.hypot(*both)), 1e-4) for axis, both in parts.items()}
    confidence = row["confidence"] or 0.0
    name = row["observation_id"]
    item = Item(
        name, (row["survey_id"],), vertices, kinds, confidence, total["xy"], total["depth"], row["pick_count"] or 0
    )
    return item, parts


def _offset(pieces: Sequence[Item], vertices_m: np.ndarray, axis: str) -> float:
    """How far pieces of one survey lie from the merged course, across or in depth: the median over their vertices, metres."""
    offsets = []
    start, end = vertices_m[0, :2], vertices_m[-1, :2]
    across = np.array([start[1] - end[1], end[0] - start[0]]) / max(np.hypot(*(end - start)), 1e-9)
    for piece in pieces:
        for away in piece.vertices_m - nearest_on(vertices_m, piece.vertices_m).foot_m:
            offsets.append(float(away[:2] @ across) if axis == "xy" else float(away[2]))
    return float(np.median(offsets))


def _share(book: Book, groups: Sequence[Sequence[Row]], causes) -> np.ndarray:
    """Which surveys' observations share an error: those that have one of its causes in common."""
    sets = [
        {cause for row in group for key in speeds.areas_of(book, row) for cause in causes(book, key)}
        for group in groups
    ]
    return np.array([[bool(one & other) for other in sets] for one in sets])


def _points_of(book: Book, key: str) -> List[Tuple[int, int]]:
    """Control points of an area: site coordinates to the millimetre."""
    points = json.loads(book.tables["scan_areas"][key]["control_points"] or "[]")
    return [(round(1000 * x), round(1000 * y)) for x, y in points]


def _speeds_of(book: Book, key: str) -> List[object]:
    """What an area's wave speed hangs on: its verifications, and the value itself where it was taken over from elsewhere."""
    area = book.tables["scan_areas"][key]
    names = (area["verified_by"] or "").split(",")
    return [name for name in names if name] + [(area["survey_speed_m_ns"], area["survey_sigma_m_ns"])]
