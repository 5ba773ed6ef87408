"""Items follow from what surveys saw and openings proved; nothing else enters them, so that doing it again changes nothing.

Course, depth, kind and uncertainty of an item come from all its observations (`items.combining`), depths with the present wave
speeds (`speeds`), then from the depths and places that were measured on it. What contradicts is told in words in `flag`.
"""

from typing import Dict, List, Sequence

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import DETECTED, SUPERSEDED, VERIFIED, WITHDRAWN
from ..geometry.polylines import length_m
from ..items.combining import pooled_kinds
from . import speeds
from .courses import Course, find_course
from .doubts import find_disagreements, find_doubts, find_unseen
from .history import Book
from .schema import EXPOSURES, GEOMETRY, NOT_SEEN
from .store import Row


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
    find_unseen(book, seen, flags, monitor.part(0.6, 0.9))
    find_disagreements(book, seen, flags)
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
            now = corrections.depths(speeds.speed_areas(book, row), middle, row["sigma_own_depth_m"] or 0.0)
            shift = round(float(now) - middle, 6) or None
        book.put("observations", dict(row, depth_shift_m=shift))
        seen.setdefault(row["item_id"], []).append(book.tables["observations"][row["observation_id"]])
    return {name: sorted(rows, key=lambda row: row["observation_id"]) for name, rows in seen.items()}


def _proofs_by_item(book: Book) -> Dict[str, List[Row]]:
    proofs: Dict[str, List[Row]] = {}
    standing = [row for row in book.rows("verifications") if row["outcome"] != WITHDRAWN]
    for row in sorted(standing, key=lambda row: (row["verified_on"], speeds.number_in(row["verification_id"]))):
        proofs.setdefault(row["item_id"], []).append(row)
    return proofs


def _derive_item(
    book: Book, corrections: speeds.Corrections, name: str, rows: Sequence[Row], proofs: Sequence[Row]
) -> List[str]:
    """Puts the item's row into the book; returns what a person must check."""
    earlier = book.tables["items"].get(name, {})
    row = dict(earlier, item_id=name)
    if rows:
        row.update(_of_observations(book, rows))
        if any(one[GEOMETRY] for one in rows):
            course = find_course(book, corrections, rows, proofs)
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
        elif not rows:
            row["quality_level"] = "D"
    elif not rows or row.get("part_of"):
        row["status"] = SUPERSEDED
    book.put("items", row)
    return find_doubts(book.tables["items"][name], rows, proofs)


def _of_observations(book: Book, rows: Sequence[Row]) -> Dict[str, object]:
    """What an item has of its observations apart from its course."""
    best = max(rows, key=lambda row: row["confidence"])
    probabilities = pooled_kinds([{kind: row[f"p_{kind}"] for kind in KINDS} for row in rows])
    kind = max(probabilities, key=probabilities.get)
    dates = sorted(row["scanned_on"] for row in rows if row["scanned_on"])
    surveys = sorted({row["survey_id"] for row in rows}, key=speeds.number_in)
    by_hand = any(row["source"] == speeds.BY_SURVEYOR for row in rows)
    return {
        **{f"p_{name}": share for name, share in probabilities.items()},
        "kind": kind,
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


def _of_course(course: Course) -> Dict[str, object]:
    depths = course.vertices_m[:, 2]
    return {
        GEOMETRY: (course.vertices_m * [1.0, 1.0, -1.0]).tolist(),
        "depth_min_m": float(depths.min()),
        "depth_max_m": float(depths.max()),
        "sigma_xy_m": course.sigma_xy_m,
        "sigma_depth_m": course.sigma_depth_m,
        "length_m": length_m(course.vertices_m),
        "local_geometry": None,
    }
