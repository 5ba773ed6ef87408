"""The part of the report a surveyor signs: the adjustment, its observations and tests, and the seams."""

from collections import defaultdict
from typing import Dict, List, Tuple

import numpy as np

from ..site.results import SiteFit
from ..site.statistics import critical_ratio
from .report_page import millimetres, table
from .result import ChainResult
from .seams import Seam


def fit_sections(result: ChainResult) -> List[str]:
    """HTML of the fit of areas: summary, control points, other observations, seams."""
    parts = [_summary(result.site_fit)] if result.site_fit else []
    parts.append(_control_points(result))
    if result.site_fit and any(found.kind != "control point" for found in result.site_fit.observations):
        parts.append(_other_observations(result.site_fit))
    if result.seams:
        parts.append(_seams(result.seams))
    return parts


def _summary(site_fit: SiteFit) -> str:
    settings = site_fit.settings
    placed = sum(fit.is_fitted for fit in site_fit.fits.values())
    left_out = sum(not found.used for found in site_fit.observations)
    sentences = [
        f"{placed} of {len(site_fit.fits)} areas are placed, by {len(site_fit.observations)} observations adjusted together "
        f"({site_fit.degrees_of_freedom} degrees of freedom)."
    ]
    if site_fit.variance_factor is not None:
        low, high = site_fit.interval
        inside = "inside" if low <= site_fit.variance_factor <= high else "OUTSIDE"
        sentences.append(
            f"Variance factor {site_fit.variance_factor:.3f}, {inside} the interval {low:.3f} to {high:.3f} that holds it with "
            "95 % probability if the stated sigmas are right."
        )
    share = f"{100 * settings.significance:g} %"
    sentences.append(
        f"Test for wrong observations: a standardized residual above {critical_ratio(settings.significance):.2f}; {share} of good "
        f"ones exceed that. {left_out} left out, one at a time, each named above and in the tables. 'Detectable' is the smallest "
        f"error that the test finds with {100 * settings.power:g} % probability; smaller ones can go unseen."
    )
    for name, (scale, sigma) in site_fit.scales.items():
        sentences.append(
            f"Scale of {name}: {1e6 * (scale - 1):+.0f} ± {1e6 * sigma:.0f} millionths against the site grid."
        )
    return f"<h2>Fit of the areas to the site grid</h2>\n<p>{' '.join(sentences)}</p>"


def _control_points(result: ChainResult) -> str:
    rows = []
    for area in result.survey.areas:
        for point, found in zip(area.control_points, result.fits[area.area_id].points):
            row = [area.area_id, point.point_id, millimetres(point.sigma_m)]
            if found.residual_m is None:
                row += ["", "", "", "", "", "no"]
            else:
                row += [millimetres(value) for value in found.residual_m]
                row.append("" if found.standardized is None else f"{found.standardized:.1f}")
                row.append(" / ".join(f"{share:.2f}" for share in found.redundancy) if found.used else "")
                row.append(_largest(found.detectable_m))
                row.append("yes" if found.used else "no")
            rows.append(row)
    heads = (
        "Area",
        "Point",
        "#Sigma mm",
        "#Residual x mm",
        "#Residual y mm",
        "#Residual / its sigma",
        "#Redundancy x / y",
        "#Detectable mm",
        "Used",
    )
    text = (
        "Residuals are fitted minus given, on the site grid; those of points that are not used are against what the others say. A "
        "redundancy number is the share of an error that shows in the residual."
    )
    return f"<h2>Control points</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _other_observations(site_fit: SiteFit) -> str:
    rows = []
    for found in site_fit.observations:
        if found.kind == "control point":
            continue
        if found.kind == "direction":
            sigma, residual, detectable = (
                f"{np.degrees(values[0]):.3f}°" for values in (found.sigma, found.residual, found.detectable)
            )
        else:
            sigma, residual = millimetres(found.sigma[0]), " / ".join(millimetres(value) for value in found.residual)
            detectable = _largest(found.detectable)
        ratio = np.abs(found.standardized)
        worst = "" if np.isnan(ratio).all() else f"{np.nanmax(ratio):.1f}"
        redundancy = " / ".join(f"{share:.2f}" for share in found.redundancy) if found.used else ""
        where = " – ".join(found.area_ids)
        rows.append(
            (
                found.kind,
                found.name,
                where,
                sigma,
                residual,
                worst,
                redundancy,
                detectable,
                "yes" if found.used else "no",
            )
        )
    heads = (
        "Kind",
        "Name",
        "Areas",
        "#Sigma mm",
        "#Residual mm",
        "#Residual / its sigma",
        "#Redundancy",
        "#Detectable mm",
        "Used",
    )
    text = (
        "A tie across an item is a straight item that two areas both see. Parallel items share the errors of the lines that cross "
        "them, so those of two areas together count as one observation: each carries a sigma enlarged by the root of their number."
    )
    return f"<h2>Ties, directions and taped distances</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _seams(seams: List[Seam]) -> str:
    pairs: Dict[Tuple[str, str], List[Seam]] = defaultdict(list)
    for seam in seams:
        pairs[seam.area_ids].append(seam)
    rows = []
    for ids, own in pairs.items():
        lateral = np.array([seam.lateral_m for seam in own])
        depth = np.array([seam.depth_m for seam in own])
        apart = sum(not seam.agrees for seam in own)
        rows.append(
            (
                " – ".join(ids),
                len(own),
                millimetres(np.sqrt(np.mean(lateral**2))),
                millimetres(np.abs(lateral).max()),
                millimetres(np.median([seam.sigma_lateral_m for seam in own])),
                millimetres(np.median(depth)),
                millimetres(np.abs(depth).max()),
                millimetres(np.median([seam.sigma_depth_m for seam in own])),
                "yes" if not apart else f"{apart} of {len(own)} do not",
            )
        )
    heads = (
        "Areas",
        "#Shared items",
        "#Lateral RMS mm",
        "#Largest mm",
        "#Expected sigma mm",
        "#Depth median mm",
        "#Largest mm",
        "#Expected sigma mm",
        "Agree (99 %)",
    )
    text = (
        "How far apart two overlapping areas put the items that both see. Expected sigmas hold both items' own and, across the "
        "item, both areas' places; where the items also tied the areas together, what is left is smaller than that. Each item is a "
        "line in the layer seams."
    )
    return f"<h2>Seams between areas</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _largest(detectable) -> str:
    """The larger of the smallest detectable errors, mm; says so where nothing checks the observation."""
    return "unchecked" if np.isnan(detectable).any() else millimetres(np.max(detectable))
