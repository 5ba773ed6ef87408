"""A processed survey made by hand, so that every distance in it is known exactly.

Level 1, scanned from the top: area A1 (0 to 3 m by 0 to 2 m, seen 0.25 m deep), area A2 beside it (3 to 4 m, lines in one
direction only), area A3 without a position. Bars run along y at every 0.2 m of x from 0.1 to 2.9, 40 mm deep; two more bars
run along y at x 1.56 and 1.62 up to y 0.8 (a dense mat); a tendon runs along x at y 1.5, 100 mm deep. The
soffit of the same level was scanned too and holds one bar.
"""

from pathlib import Path

import numpy as np

BARS_X = [round(0.1 + 0.2 * number, 3) for number in range(15)]
BAR_TOP, TENDON_Y, TENDON_TOP, SEEN = 0.04, 1.5, 0.10, 0.25
SIGMA_XY, SIGMA_DEPTH = 0.003, 0.004
SIZE = (3.0, 2.0)


def write_survey(path: Path, dense=True) -> Path:
    """Write the survey's GeoPackage and return its path."""
    from inslab.processing.common.vocabulary.kinds import KINDS
    from inslab.processing.site.crs import local_crs_wkt
    from inslab.processing.store.geopackage import write_geopackage
    from inslab.processing.store.layer import Layer

    def ring(x0, y0, x1, y1):
        return [np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], float)]

    def place(name, side):
        return {"area_id": name, "level": "Level 1", "surface": side}

    items = [item(f"B{n:02d}", "bar", [(x, 0, BAR_TOP), (x, 2, BAR_TOP)]) for n, x in enumerate(BARS_X, 1)]
    if dense:
        items += [item(f"D{n}", "bar", [(x, 0, BAR_TOP), (x, 0.8, BAR_TOP)]) for n, x in ((1, 1.56), (2, 1.62))]
    items.append(item("T1", "tendon", [(0, TENDON_Y, TENDON_TOP), (3, TENDON_Y, TENDON_TOP)]))
    items.append(item("S1", "bar", [(0, 1.0, 0.03), (3, 1.0, 0.03)], surface="soffit"))
    text = dict.fromkeys(("area_id", "level", "surface", "status"), str)
    numbers = dict.fromkeys(("kind_confidence", "confidence", "sigma_xy_m", "sigma_depth_m"), float)
    shares = {f"p_{kind}": float for kind in KINDS}
    areas = [
        ("A1", "top", "fitted"),
        ("A2", "top", "fitted"),
        ("A3", "top", "not positioned"),
        ("U1", "soffit", "fitted"),
    ]
    rings = {"A1": ring(0, 0, *SIZE), "A2": ring(3, 0, 4, 2), "A3": None, "U1": ring(0, 0, *SIZE)}
    layers = [
        Layer(
            "scan_areas",
            "Polygon",
            {**text, "centre_frequency_mhz": float},
            [
                (rings[name], {**place(name, side), "status": status, "centre_frequency_mhz": 1500})
                for name, side, status in areas
            ],
        ),
        Layer(
            "items",
            "LineStringZ",
            {**dict.fromkeys(("item_id", "kind", "area_ids", "level", "surface", "status"), str), **numbers, **shares},
            items,
        ),
        Layer(
            "coverage",
            "Polygon",
            {**text, "depth_m": float, "sigma_xy_m": float, "line_directions": int},
            [
                (rings[name], {**place(name, side), "depth_m": SEEN, "sigma_xy_m": 0.001,
                               "line_directions": directions})
                for name, side, directions in (("A1", "top", 2), ("A2", "top", 1), ("U1", "soffit", 2))
            ],
        ),
        Layer("wave_speeds", None, {"area_id": str, "speed_m_ns": float},
              [(None, {"area_id": name, "speed_m_ns": 0.12}) for name in ("A1", "A2", "U1")]),
    ]  # fmt: skip
    write_geopackage(path, layers, local_crs_wkt())
    return path


def item(item_id, kind, vertices, surface="top", confidence=0.99):
    """One row of the layer items."""
    values = {
        "item_id": item_id,
        "kind": kind,
        "area_ids": "A1",
        "level": "Level 1",
        "surface": surface,
        "status": "detected",
        "kind_confidence": 0.98,
        "confidence": confidence,
        "sigma_xy_m": SIGMA_XY,
        "sigma_depth_m": SIGMA_DEPTH,
        f"p_{kind}": 0.98,
    }
    return np.array(vertices, float) * [1, 1, -1], values
