"""Planned penetrations of the floor: what the designer sends, and the true distance to what is cast in."""

from dataclasses import dataclass
from typing import Tuple

import numpy as np

from .scan_plan import AREAS, dense_polyline


@dataclass(frozen=True)
class Penetration:
    """A vertical hole from the slab's top; `site_m` is its centre in the site grid."""

    penetration_id: str
    site_m: Tuple[float, float]
    diameter_m: float
    depth_m: float
    tolerance_m: float
    note: str


# Some are clear by a wide margin, some too close or in the way of a bar or tendon, two are not (wholly) scanned.
PENETRATIONS = (
    Penetration("N01", (211.790, 104.230), 0.052, 0.26, 0.005, "drain branch, core through"),
    Penetration("N02", (212.570, 110.080), 0.018, 0.08, 0.005, "pipe support, anchor"),
    Penetration("N03", (213.380, 110.290), 0.075, 0.26, 0.005, "sprinkler riser, core through"),
    Penetration("N04", (203.500, 102.750), 0.102, 0.26, 0.010, "cable riser, core through"),
    Penetration("N05", (211.410, 104.655), 0.052, 0.26, 0.005, "condensate drain, core through"),
    Penetration("N06", (203.220, 103.490), 0.018, 0.06, 0.005, "rack foot, anchor"),
    Penetration("N07", (206.500, 104.000), 0.102, 0.26, 0.010, "spare riser, core through"),
    Penetration("N08", (204.400, 102.740), 0.152, 0.26, 0.010, "floor drain, core through"),
    Penetration("N09", (220.090, 103.380), 0.052, 0.26, 0.005, "socket outlet, core through"),
    Penetration("N10", (212.960, 110.330), 0.052, 0.26, 0.005, "shower drain, core through"),
)
COLUMNS = ("penetration_id", "x_m", "y_m", "diameter_m", "depth_m", "tolerance_m", "note")


def table_rows():
    """Rows for penetrations.csv, in the order of `COLUMNS`."""
    for hole in PENETRATIONS:
        numbers = (*hole.site_m, hole.diameter_m, hole.depth_m, hole.tolerance_m)
        yield hole.penetration_id, *(f"{value:.3f}" for value in numbers), hole.note


def penetration_truth(hole: Penetration, objects):
    """Entry for truth.json: the nearest object within the hole's depth and the gap between both, seen in plan.

    A negative gap means that the hole cuts the object. The tolerance is not taken off.
    """
    gap, nearest = min((_gap(hole, item), item.object_id) for item in objects)
    rim = np.linspace(0.0, 2.0 * np.pi, 36, endpoint=False)
    circle = np.asarray(hole.site_m) + hole.diameter_m / 2.0 * np.c_[np.cos(rim), np.sin(rim)]
    scanned = np.any([area.contains(circle) for area in AREAS if area.surface == "top"], axis=0)
    return {
        "penetration_id": hole.penetration_id,
        "nearest_object": nearest,
        "gap_m": round(float(gap), 4),
        "wholly_scanned": bool(scanned.all()),
    }


def _gap(hole, item):
    points = dense_polyline(item.vertices_m, 0.002)
    points = points[points[:, 2] < hole.depth_m]
    if not len(points):
        return np.inf
    distance = np.linalg.norm(points[:, :2] - hole.site_m, axis=1).min()
    return distance - (item.diameter_m + hole.diameter_m) / 2.0
