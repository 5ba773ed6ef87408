"""How well the items of a result match the truth of the sample project."""

from dataclasses import dataclass

import numpy as np

# Items are cut more finely than objects, so that the cutting adds nothing to the errors.
OBJECT_STEP_M, ITEM_STEP_M = 0.01, 0.002
# An item further from an object than this in plan, or in depth, is not that object.
NEAR_M, DEEP_M = 0.03, 0.03


@dataclass(frozen=True)
class Match:
    """Shares by length, 0 to 1, and errors (root mean square) over what was found, metres."""

    found: float
    lateral_rms_m: float
    depth_rms_m: float
    false: float


def compare(part, items, wanted):
    """Match of items, as site polylines (n, 3) with depth, with the objects of one part of the truth for which `wanted(object)`.

    Only what lies at least 30 mm inside one of the scan areas counts. Every object makes an item true, also an unwanted one.
    """
    scanned = [np.array(area["site_corners"], float) for area in part["areas"]]
    objects = [
        (entry, resample(np.array(entry["polyline_site_x_y_topdepth_m"]), OBJECT_STEP_M)) for entry in part["objects"]
    ]
    objects = [(entry, points[inside(points, scanned, 0.03)]) for entry, points in objects]
    objects = [(entry, points) for entry, points in objects if len(points)]
    found = np.concatenate([resample(line, ITEM_STEP_M) for line in items])
    errors = np.concatenate([nearest(points, found) for entry, points in objects if wanted(entry)])
    hit = np.isfinite(errors[:, 0])
    everything = np.concatenate([points for _entry, points in objects])
    false = ~np.isfinite(nearest(found, everything)[:, 0]) & inside(found, scanned, 0.03)
    return Match(
        float(np.mean(hit)),
        float(np.sqrt(np.mean(errors[hit, 0] ** 2))),
        float(np.sqrt(np.mean(errors[hit, 1] ** 2))),
        float(np.mean(false)),
    )


def resample(line, step_m):
    """Points along a polyline, one every `step_m`, with depth."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.arange(0.0, length[-1], step_m)
    return np.column_stack([np.interp(at, length, line[:, axis]) for axis in range(3)])


def inside(points, areas, margin_m):
    """Do the points lie in one of the convex areas (corners anticlockwise or clockwise), at least `margin_m` from its edge?"""
    result = np.zeros(len(points), bool)
    for corners in areas:
        step = np.roll(corners, -1, axis=0) - corners
        step /= np.linalg.norm(step, axis=1, keepdims=True)
        offset = points[:, None, :2] - corners
        side = step[:, 0] * offset[..., 1] - step[:, 1] * offset[..., 0]
        result |= (side > margin_m).all(axis=1) | (side < -margin_m).all(axis=1)
    return result


def nearest(points, others):
    """Distance in plan and in depth to the nearest of `others` that may be the same object, (n, 2); NaN where there is none."""
    result = np.full((len(points), 2), np.nan)
    for number, point in enumerate(points):
        near = others[np.abs(others[:, :2] - point[:2]).max(axis=1) < NEAR_M]
        plan = np.linalg.norm(near[:, :2] - point[:2], axis=1)
        deep = near[:, 2] - point[2]
        usable = (plan < NEAR_M) & (np.abs(deep) < DEEP_M)
        if usable.any():
            best = np.argmin(np.where(usable, plan, np.inf))
            result[number] = plan[best], deep[best]
    return result
