"""Items follow from what surveys saw and openings proved; nothing else enters them, so that doing it again changes nothing.

Course, depth, kind and uncertainty of an item come from all its observations (`combining`), depths with the present wave speeds
(`speeds`), then from the depths and places that were measured on it. What contradicts is told in words in `flag`.
"""

import json
from dataclasses import dataclass
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..items.join import LONG_ENOUGH_M, merge
from ..items.model import KINDS, Item
from ..language import tr
from ..monitor import Monitor
from . import shapes, speeds
from .combining import combined_sigma, pooled, updated, widened
from .history import Book
from .matching import disagreements, is_straight
from .schema import DETECTED, EXPOSURES, GEOMETRY, NOT_SEEN, REFUTED, SEEN, SUPERSEDED, VERIFIED
from .store import Row

# An item's depth varies along it by at least this around what is measured at one place (scatter on simulated slabs), metres.
ALONG_M = 0.0015
SURE_OF_KIND = 0.8
DISAGREEMENT_SIGMAS = 2.5
# Scanned ground shrinks by this many of its sigmas: one-sided 95 per cent.
EDGE_SIGMAS = 1.645


def derive(book: Book, monitor: Monitor = Monitor()) -> None:
    """Works out everything in the record that follows from its surveys and verifications."""
    corrections = speeds.update_speeds(book)
    _update_coverage(book, corrections)
    seen = _seen_by_item(book, corrections)
    proofs = _proofs_by_item(book)
    names = [row["item_id"] for row in book.rows("items")]
    names += [name for name in seen if name not in book.tables["items"]]
    flags: Dict[str, List[str]] = {}
    for number, name in enumerate(names):
        monitor.step(0.6 * number / max(len(names), 1))
        flags[name] = _derive_item(book, corrections, name, seen.get(name, []), proofs.get(name, []))
    _find_unseen(book, seen, flags, monitor.part(0.6, 0.9))
    _find_disagreements(book, seen, flags)
    for name, sentences in flags.items():
        book.put("items", dict(book.tables["items"][name], flag=" ".join(dict.fromkeys(sentences))))


def _update_coverage(book: Book, corrections: speeds.Corrections) -> None:
    for row in book.rows("coverage"):
        depth = row["survey_depth_m"]
        if depth is not None and row["area_key"] in corrections.areas:
            depth = float(corrections.depths([row["area_key"]], depth))
        book.put("coverage", dict(row, depth_m=depth))


def _seen_by_item(book: Book, corrections: speeds.Corrections) -> Dict[str, List[Row]]:
    seen: Dict[str, List[Row]] = {}
    for row in book.rows("observations"):
        if row["outcome"] == NOT_SEEN:
            book.remove("observations", row["observation_id"])
            continue
        shift = None
        if row[GEOMETRY]:
            middle = 0.5 * (row["depth_min_m"] + row["depth_max_m"])
            now = corrections.depths(_speed_areas(book, row), middle, row["sigma_own_depth_m"] or 0.0)
            shift = round(float(now) - middle, 6) or None
        book.put("observations", dict(row, depth_shift_m=shift))
        seen.setdefault(row["item_id"], []).append(book.tables["observations"][row["observation_id"]])
    return {name: sorted(rows, key=lambda row: row["observation_id"]) for name, rows in seen.items()}


def _speed_areas(book: Book, row: Row) -> List[str]:
    """Areas whose wave speed an observation's depth hangs on; none where a surveyor drew it."""
    return [] if row["source"] == speeds.BY_SURVEYOR else speeds.areas_of(book, row)


def _proofs_by_item(book: Book) -> Dict[str, List[Row]]:
    proofs: Dict[str, List[Row]] = {}
    for row in sorted(
        book.rows("verifications"), key=lambda row: (row["verified_on"], _number(row["verification_id"]))
    ):
        proofs.setdefault(row["item_id"], []).append(row)
    return proofs


def _number(name: str) -> int:
    return int(name[1:]) if name[1:].isdigit() else 0


@dataclass(frozen=True)
class _Course:
    vertices_m: np.ndarray  # x, y and depth
    sigma_xy_m: float
    sigma_depth_m: float


def _derive_item(
    book: Book, corrections: speeds.Corrections, name: str, rows: Sequence[Row], proofs: Sequence[Row]
) -> List[str]:
    """Puts the item's row into the book; returns what a person must check."""
    earlier = book.tables["items"].get(name, {})
    row = dict(earlier, item_id=name)
    if rows:
        row.update(_of_observations(book, rows))
        if any(one[GEOMETRY] for one in rows):
            course = _course(book, corrections, rows, proofs)
            row.update(_of_course(course))
        else:
            row[GEOMETRY] = None
    latest = proofs[-1] if proofs else None
    row.update(status=DETECTED, quality_level="B", verified_on=None, verified_by=None)
    if latest:
        row.update(status=latest["outcome"], verified_on=latest["verified_on"], verified_by=latest["verified_by"])
        if latest["outcome"] == VERIFIED:
            row["confidence"] = 1.0
            named = [one["kind"] for one in proofs if one["kind"]]
            if named:
                row.update(
                    {f"p_{kind}": float(kind == named[-1]) for kind in KINDS}, kind=named[-1], kind_confidence=1.0
                )
                row["reasons"] = tr("Kind as found on {date}.", date=latest["verified_on"])
        if any(one["method"] in EXPOSURES for one in proofs):
            row["quality_level"] = "A"
    elif not rows or row.get("part_of"):
        row["status"] = SUPERSEDED
    book.put("items", row)
    return _doubts(book.tables["items"][name], rows, proofs)


def _of_observations(book: Book, rows: Sequence[Row]) -> Dict[str, object]:
    """What an item has of its observations apart from its course."""
    best = max(rows, key=lambda row: row["confidence"])
    probabilities = pooled([[row[f"p_{kind}"] or 0.0 for kind in KINDS] for row in rows]).round(4).tolist()
    kind = int(np.argmax(probabilities))
    dates = sorted(row["scanned_on"] for row in rows if row["scanned_on"])
    surveys = sorted({row["survey_id"] for row in rows}, key=_number)
    by_hand = any(row["source"] == speeds.BY_SURVEYOR for row in rows)
    return {
        **dict(zip((f"p_{name}" for name in KINDS), probabilities)),
        "kind": KINDS[kind],
        "kind_confidence": probabilities[kind],
        "confidence": best["confidence"],
        "pick_count": sum(row["pick_count"] or 0 for row in rows),
        "area_ids": ",".join(sorted({key for row in rows for key in speeds.areas_of(book, row)})),
        "level": best["level"],
        "surface": best["surface"],
        "source": speeds.BY_SURVEYOR if by_hand else best["source"],
        "reasons": best["reasons"],
        "local_geometry": next((row["local_geometry"] for row in rows if row["local_geometry"]), None),
        "observation_count": len(surveys),
        "survey_ids": ",".join(surveys),
        "first_seen_on": dates[0] if dates else None,
        "last_seen_on": dates[-1] if dates else None,
        **{name: best[name] for name in ("depth_min_m", "depth_max_m", "sigma_xy_m", "sigma_depth_m", "length_m")},
        **{name: best[name] for name in ("other_face_min_m", "other_face_max_m", "sigma_other_face_m")},
    }


def _of_course(course: _Course) -> Dict[str, object]:
    depths = course.vertices_m[:, 2]
    return {
        GEOMETRY: (course.vertices_m * [1.0, 1.0, -1.0]).tolist(),
        "depth_min_m": float(depths.min()),
        "depth_max_m": float(depths.max()),
        "sigma_xy_m": course.sigma_xy_m,
        "sigma_depth_m": course.sigma_depth_m,
        "length_m": float(np.sum(np.hypot(*np.diff(course.vertices_m[:, :2], axis=0).T))),
        "local_geometry": None,
    }


def _course(book: Book, corrections: speeds.Corrections, rows: Sequence[Row], proofs: Sequence[Row]) -> _Course:
    placed = [row for row in rows if row[GEOMETRY]]
    measured = [one for one in proofs if one["outcome"] == VERIFIED and one[GEOMETRY]]
    deep = [one for one in measured if one["depth_m"] is not None]
    # What was measured on the item itself also moved the wave speed: starting from the surveys' own, it counts once.
    course = _combine(book, None if deep else corrections, placed)
    vertices, sigma_xy, sigma_depth = course.vertices_m, course.sigma_xy_m, course.sigma_depth_m
    if deep:
        off = [one["depth_m"] - shapes.nearest_on(vertices, one[GEOMETRY])[1] for one in deep]
        shift, sigma = updated(0.0, sigma_depth, off, [one["sigma_depth_m"] for one in deep])
        vertices, sigma_depth = vertices + [0.0, 0.0, shift], float(np.hypot(sigma, ALONG_M))
    for one in (one for one in measured if one["sigma_xy_m"]):
        _, _, foot = shapes.nearest_on(vertices, one[GEOMETRY])
        aside = np.asarray(one[GEOMETRY][:2]) - foot
        share = sigma_xy**2 / (sigma_xy**2 + one["sigma_xy_m"] ** 2)
        vertices = vertices + np.array([*(share * aside), 0.0])
        sigma_xy = float(updated(0.0, sigma_xy, [0.0], [one["sigma_xy_m"]])[1])
    return _Course(vertices, sigma_xy, sigma_depth)


def _combine(book: Book, corrections: Optional[speeds.Corrections], rows: Sequence[Row]) -> _Course:
    """All observations as one course; without `corrections` with depths as the surveys stated them."""
    pieces = [_piece(book, corrections, row) for row in rows]
    straight = all(is_straight(piece) for piece, _ in pieces)
    # Averaged across a common direction, which a bent course does not have: there the surest one stands for all.
    surest = min((piece for piece, _ in pieces), key=lambda piece: (piece.sigma_xy_m, piece.item_id))
    merged = merge([piece for piece, _ in pieces]) if straight else surest
    surveys = sorted({row["survey_id"] for row in rows}, key=_number)
    if len(surveys) == 1:
        sigmas = [[getattr(piece, name) for piece, _ in pieces] for name in ("sigma_xy_m", "sigma_depth_m")]
        return _Course(merged.vertices_m, *(_rms(values) for values in sigmas))
    groups = [
        [(piece, parts) for (piece, parts), row in zip(pieces, rows) if row["survey_id"] == one] for one in surveys
    ]
    own_rows = [[row for row in rows if row["survey_id"] == one] for one in surveys]
    out = []
    for axis, shares in (("xy", _share(book, own_rows, _points_of)), ("depth", _share(book, own_rows, _speeds_of))):
        own = [_rms([parts[axis][0] for _, parts in group]) for group in groups]
        common = [_rms([parts[axis][1] for _, parts in group]) for group in groups]
        _, sigma = combined_sigma(own, common, shares)
        offsets = [_offset([piece for piece, _ in group], merged.vertices_m, axis) for group in groups]
        out.append(widened(sigma, offsets, np.hypot(own, common)))
    return _Course(merged.vertices_m, *out)


def _rms(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _piece(
    book: Book, corrections: Optional[speeds.Corrections], row: Row
) -> Tuple[Item, Mapping[str, Tuple[float, float]]]:
    """An observation as an item, and its own and common 1-sigma in plan and in depth, metres."""
    vertices = np.asarray(row[GEOMETRY], float) * [1.0, 1.0, -1.0]
    own, common = row["sigma_own_depth_m"] or 0.0, row["sigma_speed_m"] or 0.0
    if corrections is not None:
        areas = _speed_areas(book, row)
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
        for place in piece.vertices_m:
            _, depth, foot = shapes.nearest_on(vertices_m, place)
            offsets.append(float((place[:2] - foot) @ across) if axis == "xy" else float(place[2] - depth))
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


def _doubts(item: Row, rows: Sequence[Row], proofs: Sequence[Row]) -> List[str]:
    """What the observations and verifications of one item say against each other or themselves."""
    out = []
    if item["part_of"]:
        out.append(tr("A later survey shows that it is a part of item {item}.", item=item["part_of"]))
    elif not rows and not proofs:
        out.append(tr("The survey that showed it was processed anew and does not show it any more."))
    if rows and not item[GEOMETRY]:
        out.append(tr("Its scan area has no position on the site grid."))
    out += [tr("Survey {survey}: {flag}", survey=row["survey_id"], flag=row["flag"]) for row in rows if row["flag"]]
    sure = {row["kind"]: row["survey_id"] for row in rows if (row["kind_confidence"] or 0.0) >= SURE_OF_KIND}
    if len(sure) > 1:
        words = ", ".join(f"{survey}: {kind.replace('_', ' ')}" for kind, survey in sorted(sure.items()))
        out.append(tr("Surveys disagree on its kind ({words}): check on site.", words=words))
    for one in proofs:
        if one["outcome"] == REFUTED:
            again = [row["survey_id"] for row in rows if (row["scanned_on"] or "") > one["verified_on"]]
            if again:
                text = tr(
                    "Survey {survey} sees it again after it was refuted on {date}.",
                    survey=again[0],
                    date=one["verified_on"],
                )
                out.append(text)
        elif None not in (one["depth_m"], one["depth_before_m"], one["sigma_before_m"]):
            both = float(np.hypot(one["sigma_depth_m"], one["sigma_before_m"]))
            if abs(one["depth_m"] - one["depth_before_m"]) > DISAGREEMENT_SIGMAS * both:
                out.append(
                    tr(
                        "On {date} its top was found at {found:.0f} mm where the record stated {before:.0f} ± {sigma:.0f} mm, more "
                        "than both uncertainties allow.",
                        date=one["verified_on"],
                        found=1000 * one["depth_m"],
                        before=1000 * one["depth_before_m"],
                        sigma=1000 * one["sigma_before_m"],
                    )
                )
    outcomes = {one["outcome"] for one in proofs}
    if len(outcomes) > 1:
        out.append(tr("It was both verified and refuted; the later one counts."))
    return out


def _find_unseen(book: Book, seen: Mapping[str, Sequence[Row]], flags: Dict[str, List[str]], monitor: Monitor) -> None:
    """Notes for each item the surveys that reached its depth over a stretch of it and did not see it."""
    pieces = [
        row for row in book.rows("coverage") if row[GEOMETRY] and row["depth_m"] and (row["line_directions"] or 0) > 1
    ]
    ground = {}
    items = book.rows("items")
    for number, item in enumerate(items):
        monitor.step(number / len(items))
        unseen: Dict[str, float] = {}
        if item[GEOMETRY] and item["status"] in (DETECTED, VERIFIED):
            surveys = {row["survey_id"] for row in seen.get(item["item_id"], ())}
            for piece in pieces:
                if piece["survey_id"] in surveys or (piece["level"], piece["surface"]) != (
                    item["level"],
                    item["surface"],
                ):
                    continue
                deep = item["depth_max_m"] + item["sigma_depth_m"] <= piece["depth_m"]
                if not deep or not shapes.boxes_meet(item[GEOMETRY], piece[GEOMETRY][0]):
                    continue
                key = piece["coverage_id"]
                if key not in ground:
                    ground[key] = shapes.shrunk(piece[GEOMETRY], EDGE_SIGMAS * (piece["sigma_xy_m"] or 0.0))
                length = shapes.length_inside(item[GEOMETRY], ground[key])
                unseen[piece["survey_id"]] = unseen.get(piece["survey_id"], 0.0) + length
        missed = {survey: length for survey, length in unseen.items() if length >= LONG_ENOUGH_M}
        for survey, length in missed.items():
            length = min(length, item["length_m"])
            flags[item["item_id"]].append(_put_unseen(book, item, survey, round(length, 3)))
        book.put("items", dict(item, not_seen_count=len(missed)))


def _put_unseen(book: Book, item: Row, survey_id: str, length_m: float) -> str:
    survey = book.tables["surveys"][survey_id]
    row = {
        "observation_id": f"{survey_id}/not-seen/{item['item_id']}",
        "item_id": item["item_id"],
        "survey_id": survey_id,
    }
    row.update(outcome=NOT_SEEN, scanned_on=survey["scanned_to"], level=item["level"], surface=item["surface"])
    book.put("observations", {**row, "unseen_length_m": length_m})
    return tr(
        "Survey {survey} reached its depth over {length:.2f} m of it and did not see it.",
        survey=survey_id,
        length=length_m,
    )


def _find_disagreements(book: Book, seen: Mapping[str, Sequence[Row]], flags: Dict[str, List[str]]) -> None:
    planes: Dict[Tuple, List[Tuple[Item, frozenset]]] = {}
    for row in book.rows("items"):
        if row[GEOMETRY] and row["status"] in (DETECTED, VERIFIED):
            surveys = frozenset(one["survey_id"] for one in seen.get(row["item_id"], ()))
            planes.setdefault((row["level"], row["surface"]), []).append((item_of(row), surveys))
    for items in planes.values():
        for found in disagreements(items):
            for name in found.item_ids:
                flags[name].append(found.sentence(name))


def item_of(row: Row) -> Item:
    """A row of `items` that has a place, as an item."""
    vertices = np.asarray(row[GEOMETRY], float) * [1.0, 1.0, -1.0]
    kinds = {kind: row[f"p_{kind}"] or 0.0 for kind in KINDS}
    areas = tuple((row["area_ids"] or "").split(","))
    sigma = row["sigma_xy_m"], row["sigma_depth_m"]
    return Item(row["item_id"], areas, vertices, kinds, row["confidence"] or 0.0, *sigma, row["pick_count"] or 0)


def seen_rows(book: Book, item_id: str) -> List[Row]:
    """The observations of an item by surveys that saw it."""
    return [row for row in book.rows("observations") if row["item_id"] == item_id and row["outcome"] == SEEN]
