"""Surveys for a record, made by hand: straight objects with known places, depths and sigmas."""

import json

import numpy as np

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.record.merging import SurveyContent
from inslab.processing.site.crs import local_crs_wkt

LEVEL, SURFACE = "Level 1", "top"
SPEED_M_NS, SEPARATION_M = 0.110, 0.060
POINTS_OF_A = ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0))
POINTS_OF_B = ((1.0, 1.0), (5.0, 1.0), (5.0, 4.0))


def bar(name, start, end, depth_m, **values):
    """One observation of a straight bar; `values` are fields that differ from the usual ones."""
    ends = np.array([[*start, -depth_m], [*end, -depth_m]], float)
    row = {
        "survey_item_id": name,
        "geom": ends,
        "kind": "bar",
        "kind_confidence": 0.9,
        "confidence": 0.95,
        "depth_min_m": depth_m,
        "depth_max_m": depth_m,
        "sigma_own_xy_m": 0.002,
        "sigma_fit_m": 0.002,
        "sigma_own_depth_m": 0.002,
        "sigma_speed_m": 0.003,
        "pick_count": 6,
        "area_ids": "A1",
        "level": LEVEL,
        "surface": SURFACE,
        "status": "detected",
        "source": "computed",
        "length_m": float(np.hypot(*(ends[1] - ends[0])[:2])),
        "reasons": "parallel to its neighbours.",
        **dict.fromkeys(("flag", "local_geometry", "other_face_min_m", "other_face_max_m", "sigma_other_face_m")),
        **values,
    }
    row.setdefault("sigma_xy_m", float(np.hypot(row["sigma_own_xy_m"], row["sigma_fit_m"])))
    row.setdefault("sigma_depth_m", float(np.hypot(row["sigma_own_depth_m"], row["sigma_speed_m"])))
    for kind in KINDS:
        rest = (1.0 - row["kind_confidence"]) / (len(KINDS) - 1)
        row.setdefault(f"p_{kind}", row["kind_confidence"] if kind == row["kind"] else rest)
    return row


def box(low, high):
    """Rings of a rectangle."""
    (x0, y0), (x1, y1) = low, high
    return [np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], float)]


def survey(bars, scanned_on, low=(0.0, 0.0), high=(4.0, 3.0), points=POINTS_OF_A, **area):
    """Content of a survey of one area A1 that covers a rectangle down to 0.2 m in both directions; `area` overrides its columns."""
    rings = box(low, high)
    bars = [{**one, "scanned_on": scanned_on} for one in bars]
    row = {
        "area_id": "A1",
        "level": LEVEL,
        "surface": SURFACE,
        "status": "fitted",
        "scanned_on": scanned_on,
        "sigma_xy_m": 0.002,
        "antenna_separation_m": SEPARATION_M,
        "survey_speed_m_ns": SPEED_M_NS,
        "survey_sigma_m_ns": 0.004,
        "survey_time_zero_ns": 1.2,
        "survey_sigma_time_zero_ns": 0.01,
        "survey_correlation": 0.0,
        "survey_method": "direct wave and bar echoes",
        "control_points": json.dumps(points),
        "geom": rings,
        **area,
    }
    piece = {
        "area_id": "A1",
        "level": row["level"],
        "surface": row["surface"],
        "survey_depth_m": 0.2,
        "sigma_xy_m": 0.002,
    }
    piece.update(line_directions=2, scanned_on=scanned_on, geom=rings)
    return SurveyContent(
        local_crs_wkt(),
        frozenset({("A1", row["level"], row["surface"], scanned_on)}),
        {"source_file": f"/jobs/{scanned_on}/survey.gpkg", "scanned_from": scanned_on, "scanned_to": scanned_on},
        {"scan_areas": [row], "coverage": [piece], "mats": [], "seams": [], "set_aside": []},
        bars,
    )


def mat(count=4, y0=0.5, spacing=0.2, x=(0.3, 3.5), depth_m=0.05, shift=(0.0, 0.0, 0.0), **values):
    """Parallel bars along x, all shifted by the same (x, y, depth)."""
    return [
        bar(
            f"A1-{number + 1}",
            (x[0] + shift[0], y0 + spacing * number + shift[1]),
            (x[1] + shift[0], y0 + spacing * number + shift[1]),
            depth_m + shift[2],
            **values,
        )
        for number in range(count)
    ]


def merge(store, content, on=None):
    """Merges into the record at `store`, which is made where it is missing; returns report and changes."""
    from inslab.processing.record.history import Revision, change
    from inslab.processing.record.merging import merge_survey

    reports = []
    store.create(content.crs_wkt)
    revision = Revision(on or content.survey["scanned_to"], "a test", "merged")
    changed = change(store, revision, lambda book: reports.append(merge_survey(book, content)))
    return reports[0], changed


def verify(store, verification):
    """Enters a verification; returns report and changes."""
    from inslab.processing.record.history import Revision, change
    from inslab.processing.record.verification import verify_item

    reports = []
    revision = Revision(verification.verified_on, verification.verified_by, "verified")
    changed = change(store, revision, lambda book: reports.append(verify_item(book, verification)))
    return reports[0], changed


def rows(store, table, on=None):
    """Rows of a table by their keys, as known on a day."""
    from inslab.processing.record.history import as_known_on
    from inslab.processing.record.schema import TABLES

    with store.session() as session:
        if table in ("revisions", "changes", "about"):
            return {row[TABLES[table].key]: row for row in session.read(TABLES[table])}
        return as_known_on(session, on).tables[table]


def read_record(record, known_on=""):
    """All layers of a record by name, as `store.geopackage.read_layer` gives them: rows of (coordinates, values).

    With `known_on` (ISO date), as the record knew it at the end of that day.
    """
    from inslab.processing.record.history import as_known_on
    from inslab.processing.record.open_store import open_store
    from inslab.processing.record.schema import GEOMETRY, TABLES

    with open_store(record).session() as session:
        book = as_known_on(session, known_on)
        history = {name: session.read(TABLES[name]) for name in ("about", "revisions", "changes")}
    tables = {**{name: book.rows(name) for name in book.tables}, **history}
    return {
        name: [(row.get(GEOMETRY), {key: value for key, value in row.items() if key != GEOMETRY}) for row in rows]
        for name, rows in tables.items()
    }
