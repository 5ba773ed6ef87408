"""Fitting one area to the site grid by its control points: weighted rigid least squares.

With isotropic sigmas the least-squares rigid motion has a closed form (Procrustes), and about the weighted centroid the
normal equations of the linearised problem are diagonal. Residuals, redundancy numbers, variance factor and standardized
residuals as in Ghilani and Wolf, Adjustment Computations (conformal transformation; a-posteriori variance; data snooping).
"""

from typing import List, Tuple

import numpy as np

from ..survey.model import ControlPoint, ScanArea
from .frame import FITTED, NOT_POSITIONED, AreaFit, PointFit

# A tape or a survey wheel is not 3 % wrong; a scale further off than that is a mistake in the table.
REFUSED_SCALE_ERROR = 0.03
CRITICAL_RATIO = 3.29  # two-sided 0.1 % of the normal distribution (Baarda's usual choice, quoted from memory)
UNIT_RATIOS = {
    0.001: "the local coordinates look like millimetres",
    0.01: "the local coordinates look like centimetres",
    0.0254: "the local coordinates look like inches",
    0.3048: "the local coordinates look like feet",
    1000.0: "the site coordinates look like millimetres",
    100.0: "the site coordinates look like centimetres",
    1 / 0.0254: "the site coordinates look like inches",
    1 / 0.3048: "the site coordinates look like feet",
}


def similarity(local_m, site_m, weights, mirrored=False) -> Tuple[float, float, np.ndarray]:
    """Scale, rotation (rad) and shift of the weighted least-squares similarity from local to site coordinates.

    `local_m`, `site_m`: shape (n, 2), not all at one place; `weights`: shape (n,). In complex numbers z_site = t + a z_local
    (a, t complex; z_local conjugated where `mirrored`), which is linear: a = sum w conj(l) s / sum w |l|² about the centroids.
    """
    local = _complex(local_m, mirrored)
    site = _complex(site_m)
    local_mean, site_mean = np.average(local, weights=weights), np.average(site, weights=weights)
    l_arm, s_arm = local - local_mean, site - site_mean
    factor = np.sum(weights * np.conj(l_arm) * s_arm) / np.sum(weights * np.abs(l_arm) ** 2)
    shift = site_mean - factor * local_mean
    return float(np.abs(factor)), float(np.angle(factor)), np.array([shift.real, shift.imag])


def fit_area(area: ScanArea) -> AreaFit:
    """The position of `area` from its control points; an area that cannot be placed gets status 'not positioned'.

    Nothing is rejected silently: unusable points, a scale that does not fit, points that disagree with the others and points
    that only fit the mirror image each give a sentence in `warnings`.
    """
    mirrored = area.surface == "soffit"
    usable = [_is_usable(point) for point in area.control_points]
    warnings = [
        f"Area {area.area_id}: control point {point.point_id} is not used, because a coordinate or its sigma_m is not a "
        "sensible number; correct its row in control_points.csv."
        for point, good in zip(area.control_points, usable)
        if not good
    ]
    points = [point for point, good in zip(area.control_points, usable) if good]
    refusal = _why_not(area.area_id, points)
    if not refusal:
        local = np.array([point.local_m for point in points], float)
        site = np.array([point.site_m for point in points], float)
        weights = np.array([point.sigma_m for point in points], float) ** -2
        refusal = _check_handedness(area, local, site, weights, mirrored)
    if not refusal:
        refusal, scale_warnings = _check_scale(area.area_id, local, site, weights, mirrored)
        warnings += scale_warnings
    if refusal:
        unplaced = tuple(PointFit(point.point_id, False) for point in area.control_points)
        return AreaFit(area.area_id, NOT_POSITIONED, mirrored=mirrored, points=unplaced, warnings=(*warnings, refusal))
    return _fit(area, usable, local, site, weights, mirrored, warnings)


def _fit(area, usable, local, site, weights, mirrored, warnings) -> AreaFit:
    _, rotation, _ = similarity(
        local, site, weights, mirrored
    )  # the best rotation is the same with and without a scale
    centroid = np.average(local, axis=0, weights=weights)
    turn = AreaFit(area.area_id, FITTED, rotation, np.zeros(2), mirrored)
    shift = np.average(site, axis=0, weights=weights) - turn.to_site(centroid)
    residuals = turn.to_site(local) + shift - site

    arm = turn.to_site(local - centroid)
    variance_shift = 1.0 / weights.sum()
    variance_turn = 1.0 / np.sum(weights * np.sum(arm**2, axis=1))
    lever = np.column_stack([-arm[:, 1], arm[:, 0]])
    redundancy = 1.0 - weights[:, None] * (variance_shift + lever**2 * variance_turn)
    freedom = 2 * len(local) - 3
    sigma0 = float(np.sqrt(np.sum(weights[:, None] * residuals**2) / freedom))
    own_sigma = np.sqrt(np.maximum(redundancy, 1e-9) / weights[:, None])
    standardized = np.max(np.abs(residuals) / own_sigma, axis=1)

    fitted = iter(zip(residuals, redundancy, standardized))
    points = []
    for point, good in zip(area.control_points, usable):
        if good:
            residual, share, ratio = next(fitted)
            points.append(PointFit(point.point_id, True, residual, share, float(ratio)))
        else:
            points.append(PointFit(point.point_id, False))
    warnings = warnings + _check_residuals(area, points)
    return AreaFit(
        area.area_id,
        FITTED,
        rotation,
        shift,
        mirrored,
        centroid,
        np.diag([variance_shift, variance_shift, variance_turn]) * max(1.0, sigma0) ** 2,
        sigma0,
        freedom,
        tuple(points),
        tuple(warnings),
    )


def _complex(xy, mirrored=False) -> np.ndarray:
    xy = np.asarray(xy, float)
    return xy[:, 0] + 1j * (-xy[:, 1] if mirrored else xy[:, 1])


def _is_usable(point: ControlPoint) -> bool:
    return bool(np.isfinite([*point.local_m, *point.site_m, point.sigma_m]).all() and point.sigma_m > 0)


def _why_not(area_id: str, points: List[ControlPoint]) -> str:
    if len(points) < 2:
        have = "no usable control point" if not points else "only one usable control point"
        return f"Area {area_id} is not positioned: it has {have} and needs two or more; add rows to control_points.csv."
    spreads = [
        np.ptp(np.array([getattr(point, name) for point in points], float), axis=0) for name in ("local_m", "site_m")
    ]
    for spread, grid in zip(spreads, ("local", "site")):
        if np.hypot(*spread) <= 3 * max(point.sigma_m for point in points):
            return (
                f"Area {area_id} is not positioned: its control points lie at one place in the {grid} grid, so they give no "
                "direction; correct control_points.csv or measure points further apart."
            )
    return ""


def _check_handedness(area, local, site, weights, mirrored) -> str:
    """A refusal ('' if none) where three or more points fit the mirror image and not the area as it is said to be seen."""

    def misfit(mirrored):
        scale, rotation, shift = similarity(local, site, weights, mirrored)
        fitted = scale * np.exp(1j * rotation) * _complex(local, mirrored) + complex(*shift)
        return float(np.sqrt(np.mean(weights * np.abs(fitted - _complex(site)) ** 2)))

    if misfit(mirrored) <= CRITICAL_RATIO or misfit(not mirrored) > 0.2 * misfit(mirrored):
        return ""
    seen = "from above (top) or from the front (wall)" if mirrored else "from below (soffit)"
    return (
        f"Area {area.area_id} is not positioned: its control points fit only if the area was drawn as seen {seen}, but its "
        f"surface is '{area.surface}'; correct scan_areas.csv or control_points.csv."
    )


def _check_scale(area_id, local, site, weights, mirrored) -> Tuple[str, List[str]]:
    """A refusal ('' if none) and warnings, from the scale that the points would have if it were free."""
    scale, _, _ = similarity(local, site, weights, mirrored)
    arm = local - np.average(local, axis=0, weights=weights)
    sigma_scale = np.sqrt(1.0 / np.sum(weights * np.sum(arm**2, axis=1)))
    if abs(scale - 1.0) <= CRITICAL_RATIO * sigma_scale:
        return "", []
    if abs(scale - 1.0) <= REFUSED_SCALE_ERROR:
        return "", [
            f"Area {area_id}: distances between its control points are {100 * (scale - 1):+.2f} % longer in the site grid than "
            "in the local grid, more than their sigmas allow; check the wheel calibration and the site survey."
        ]
    guess = [text for ratio, text in UNIT_RATIOS.items() if abs(scale / ratio - 1.0) <= REFUSED_SCALE_ERROR]
    reason = guess[0] if guess else "a point may be mixed up with another one"
    return (
        f"Area {area_id} is not positioned: distances between its control points are {scale:.4g} times as long in the site grid "
        f"as in the local grid ({reason}); correct control_points.csv, where all coordinates are metres.",
        [],
    )


def _check_residuals(area: ScanArea, points: List[PointFit]) -> List[str]:
    used = [point for point in points if point.used]
    worst = max(used, key=lambda point: point.standardized)
    if worst.standardized <= CRITICAL_RATIO:
        return []
    if len(used) < 3:
        which = f"its two control points {used[0].point_id} and {used[1].point_id} disagree"
    else:
        which = f"control point {worst.point_id} disagrees with the others"
    return [
        f"Area {area.area_id}: {which} by {1000 * worst.residual_length_m:.0f} mm, {worst.standardized:.1f} sigma; "
        "measure again. The area is placed with a larger uncertainty."
    ]
