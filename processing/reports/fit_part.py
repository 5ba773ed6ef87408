"""The part of the report a surveyor signs: the adjustment, its observations and tests, and the seams."""

from collections import defaultdict
from html import escape
from typing import Dict, List, Tuple

import numpy as np

from ..common.language import tr
from ..common.words import word
from ..floor.overlaps import Seam
from ..floor.result import ChainResult
from ..site.results import SiteFit
from ..site.rows import KIND_WORDS
from ..site.statistics import critical_ratio
from .page import millimetres, table


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
        tr(
            "{placed} of {count} areas are placed, by {observations} observations adjusted together "
            "({degrees_of_freedom} degrees of freedom).",
            placed=placed,
            count=len(site_fit.fits),
            observations=len(site_fit.observations),
            degrees_of_freedom=site_fit.degrees_of_freedom,
        )
    ]
    if site_fit.variance_factor is not None:
        low, high = site_fit.interval
        inside = tr("inside") if low <= site_fit.variance_factor <= high else tr("OUTSIDE")
        sentences.append(
            tr(
                "Variance factor {variance_factor:.3f}, {inside} the interval {low:.3f} to {high:.3f} that holds "
                "it with 95 % probability if the stated sigmas are right.",
                variance_factor=site_fit.variance_factor,
                inside=inside,
                low=low,
                high=high,
            )
        )
    share = f"{100 * settings.significance:g} %"
    sentences.append(
        tr(
            "Test for wrong observations: a standardized residual above {critical_ratio:.2f}; {share} of good "
            "ones exceed that. {left_out} left out, one at a time, each named above and in the tables. "
            "'Detectable' is the smallest error that the test finds with {power:g} % probability; smaller ones "
            "can go unseen.",
            critical_ratio=critical_ratio(settings.significance),
            share=share,
            left_out=left_out,
            power=100 * settings.power,
        )
    )
    for name, (scale, sigma) in site_fit.scales.items():
        sentences.append(
            tr(
                "Scale of {name}: {scale:+.0f} ± {sigma:.0f} millionths against the site grid.",
                name=escape(word(name)),
                scale=1e6 * (scale - 1),
                sigma=1e6 * sigma,
            )
        )
    return f"<h2>{tr('Fit of the areas to the site grid')}</h2>\n<p>{' '.join(sentences)}</p>"


def _control_points(result: ChainResult) -> str:
    rows = []
    for area in result.survey.areas:
        for point, found in zip(area.control_points, result.fits[area.area_id].points):
            row = [area.area_id, point.point_id, millimetres(point.sigma_m)]
            if found.residual_m is None:
                row += ["", "", "", "", "", tr("no")]
            else:
                row += [millimetres(value) for value in found.residual_m]
                row.append("" if found.standardized is None else f"{found.standardized:.1f}")
                row.append(" / ".join(f"{share:.2f}" for share in found.redundancy) if found.used else "")
                row.append(_largest(found.detectable_m))
                row.append(tr("yes") if found.used else tr("no"))
            rows.append(row)
    heads = (
        tr("Area"),
        tr("Point"),
        tr("#Sigma mm"),
        tr("#Residual x mm"),
        tr("#Residual y mm"),
        tr("#Residual / its sigma"),
        tr("#Redundancy x / y"),
        tr("#Detectable mm"),
        tr("Used"),
    )
    text = tr(
        "Residuals are fitted minus given, on the site grid; those of points that are not used are against "
        "what the others say. A redundancy number is the share of an error that shows in the residual."
    )
    return f"<h2>{tr('Control points')}</h2>\n{table(heads, rows)}\n<p>{text}</p>"


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
                KIND_WORDS[found.kind],
                found.name,
                where,
                sigma,
                residual,
                worst,
                redundancy,
                detectable,
                tr("yes") if found.used else tr("no"),
            )
        )
    heads = (
        tr("Kind"),
        tr("Name"),
        tr("Areas"),
        tr("#Sigma mm"),
        tr("#Residual mm"),
        tr("#Residual / its sigma"),
        tr("#Redundancy"),
        tr("#Detectable mm"),
        tr("Used"),
    )
    text = tr(
        "A tie across an item is a straight item that two areas both see. Parallel items share the errors of "
        "the lines that cross them, so those of two areas together count as one observation: each carries a "
        "sigma enlarged by the root of their number."
    )
    return f"<h2>{tr('Ties, directions and taped distances')}</h2>\n{table(heads, rows)}\n<p>{text}</p>"


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
                tr("yes") if not apart else tr("{apart} of {count} do not", apart=apart, count=len(own)),
            )
        )
    heads = (
        tr("Areas"),
        tr("#Shared items"),
        tr("#Lateral RMS mm"),
        tr("#Largest mm"),
        tr("#Expected sigma mm"),
        tr("#Depth median mm"),
        tr("#Largest mm"),
        tr("#Expected sigma mm"),
        tr("Agree (99 %)"),
    )
    text = tr(
        "How far apart two overlapping areas put the items that both see. Expected sigmas hold both items' "
        "own and, across the item, both areas' places; where the items also tied the areas together, what is "
        "left is smaller than that. Each item is a line in the layer seams."
    )
    return f"<h2>{tr('Seams between areas')}</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _largest(detectable) -> str:
    """The larger of the smallest detectable errors, mm; says so where nothing checks the observation."""
    return tr("unchecked") if np.isnan(detectable).any() else millimetres(np.max(detectable))
