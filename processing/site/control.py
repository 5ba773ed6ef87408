"""Control points of one area before they are fitted: are they usable, and can they be what the table says?"""

from typing import List, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.surfaces import is_from_below
from ..survey.model import ControlPoint, ScanArea

# A tape or a survey wheel is not 3 % wrong; a scale further off than that is a mistake in the table.
REFUSED_SCALE_ERROR = 0.03
CRITICAL_RATIO = 3.29  # two-sided 0.1 % of the normal distribution
UNIT_RATIOS = {
    0.001: tr("the local coordinates look like millimetres"),
    0.01: tr("the local coordinates look like centimetres"),
    0.0254: tr("the local coordinates look like inches"),
    0.3048: tr("the local coordinates look like feet"),
    1000.0: tr("the site coordinates look like millimetres"),
    100.0: tr("the site coordinates look like centimetres"),
    1 / 0.0254: tr("the site coordinates look like inches"),
    1 / 0.3048: tr("the site coordinates look like feet"),
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


def usable_points(area: ScanArea) -> Tuple[List[ControlPoint], List[str]]:
    """The control points with sensible numbers, and a sentence on each of the others."""
    good, warnings = [], []
    for point in area.control_points:
        numbers = [*point.local_m, *point.site_m, point.sigma_m, point.local_sigma_m]
        if np.isfinite(numbers).all() and point.sigma_m > 0 and point.local_sigma_m >= 0:
            good.append(point)
        else:
            warnings.append(
                tr(
                    "Area {area_id}: control point {point_id} is not used, because a coordinate or its sigma is not "
                    "a plausible number; correct its row in control_points.csv.",
                    area_id=area.area_id,
                    point_id=point.point_id,
                )
            )
    return good, warnings


def sigma_of(point: ControlPoint) -> float:
    """1-sigma of the difference between a point's fitted and given site coordinates, along each axis, metres."""
    return float(np.hypot(point.sigma_m, point.local_sigma_m))


def check_control(area: ScanArea, points: Sequence[ControlPoint], scale_is_free: bool) -> Tuple[str, List[str]]:
    """A refusal ('' if none) and warnings from the usable control points of an area, two or more.

    Where one point alone makes the trouble, there is none here: the adjustment finds that point and names it.
    """
    refusal, warnings = _check(area, points, scale_is_free)
    if (refusal or warnings) and len(points) > 3:
        for left_out in points:
            others = [point for point in points if point is not left_out]
            if _check(area, others, scale_is_free) == ("", []) and _misfit(area, others) <= CRITICAL_RATIO:
                return "", []
    return refusal, warnings


def _check(area: ScanArea, points: Sequence[ControlPoint], scale_is_free: bool) -> Tuple[str, List[str]]:
    local, site, weights = _arrays(points)
    mirrored = is_from_below(area.surface)
    refusal = _check_handedness(area, local, site, weights, mirrored)
    return (refusal, []) if refusal else _check_scale(area.area_id, local, site, weights, mirrored, scale_is_free)


def _misfit(area: ScanArea, points: Sequence[ControlPoint]) -> float:
    """Root mean square distance of the points from their best similarity, in sigmas."""
    return _distance(*_arrays(points), is_from_below(area.surface))


def _arrays(points: Sequence[ControlPoint]):
    local = np.array([point.local_m for point in points], float)
    site = np.array([point.site_m for point in points], float)
    return local, site, np.array([sigma_of(point) for point in points]) ** -2.0


def _distance(local, site, weights, mirrored) -> float:
    scale, rotation, shift = similarity(local, site, weights, mirrored)
    fitted = scale * np.exp(1j * rotation) * _complex(local, mirrored) + complex(*shift)
    return float(np.sqrt(np.mean(weights * np.abs(fitted - _complex(site)) ** 2)))


def why_not_placed(area_id: str, points: Sequence[ControlPoint]) -> str:
    """The sentence for an area that its usable control points do not place."""
    if len(points) < 2:
        have = tr("no usable control point") if not points else tr("only one usable control point")
        return tr(
            "Area {area_id} is not positioned: it has {have} and needs two or more, or as many ties, taped "
            "distances and known directions; add rows to control_points.csv.",
            area_id=area_id,
            have=have,
        )
    grid = tr("local grid") if at_one_place(points, "local_m") else tr("site grid")
    return tr(
        "Area {area_id} is not positioned: its control points coincide in the {grid}, so they fix no direction; "
        "correct control_points.csv or measure points further apart.",
        area_id=area_id,
        grid=grid,
    )


def at_one_place(points: Sequence[ControlPoint], grid: str) -> bool:
    """Do the points lie so close together in `grid` (``local_m`` or ``site_m``) that they give no direction?"""
    spread = np.ptp(np.array([getattr(point, grid) for point in points], float), axis=0)
    return bool(np.hypot(*spread) <= 3 * max(sigma_of(point) for point in points))


def _complex(xy, mirrored=False) -> np.ndarray:
    xy = np.asarray(xy, float)
    return xy[:, 0] + 1j * (-xy[:, 1] if mirrored else xy[:, 1])


def _check_handedness(area, local, site, weights, mirrored) -> str:
    """A refusal ('' if none) where three or more points fit the mirror image and not the area as it is said to be seen."""
    as_said, mirror_image = (_distance(local, site, weights, side) for side in (mirrored, not mirrored))
    if as_said <= CRITICAL_RATIO or mirror_image > 0.2 * as_said:
        return ""
    seen = tr("from above (top) or from the front (wall)") if mirrored else tr("from below (soffit)")
    return tr(
        "Area {area_id} is not positioned: its control points fit only if the area was drawn as seen {seen}, "
        "but its surface is '{surface}'; correct scan_areas.csv or control_points.csv.",
        area_id=area.area_id,
        seen=seen,
        surface=area.surface,
    )


def _check_scale(area_id, local, site, weights, mirrored, scale_is_free) -> Tuple[str, List[str]]:
    """A refusal ('' if none) and warnings, from the scale that the points would have if it were free."""
    scale, _, _ = similarity(local, site, weights, mirrored)
    arm = local - np.average(local, axis=0, weights=weights)
    sigma_scale = np.sqrt(1.0 / np.sum(weights * np.sum(arm**2, axis=1)))
    if abs(scale - 1.0) <= CRITICAL_RATIO * sigma_scale or (scale_is_free and abs(scale - 1.0) <= REFUSED_SCALE_ERROR):
        return "", []
    if abs(scale - 1.0) <= REFUSED_SCALE_ERROR:
        return "", [
            tr(
                "Area {area_id}: distances between its control points are {scale:+.2f} % longer in the site grid "
                "than in the local grid, more than their sigmas allow; check the wheel calibration and the site "
                "survey.",
                area_id=area_id,
                scale=100 * (scale - 1),
            )
        ]
    guess = [text for ratio, text in UNIT_RATIOS.items() if abs(scale / ratio - 1.0) <= REFUSED_SCALE_ERROR]
    reason = guess[0] if guess else tr("a point may be mixed up with another one")
    return (
        tr(
            "Area {area_id} is not positioned: distances between its control points are {scale:.4g} times as "
            "long in the site grid as in the local grid ({reason}); correct control_points.csv, where all "
            "coordinates are metres.",
            area_id=area_id,
            scale=scale,
            reason=reason,
        ),
        [],
    )
