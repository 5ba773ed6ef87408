"""The site grid defined: on its own, or tied to a national grid."""

from dataclasses import replace
from pathlib import Path
from typing import List, Optional, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.words import tenths_of_mm, value_with_sigma
from ..reports.content import Bullets, Paper, Section, Table, Text
from ..reports.page import paper_html
from ..site import geotiff
from ..site.crs import base_name, local_crs_wkt, point_scale, tied_crs_wkt
from ..site.tie import GridTie, TieFit, fit_tie, read_pairs
from ..store import layers, reading
from ..store.coordinate_system import restamp
from ..store.geopackage import replace_layers
from ..store.locks import changes_survey
from ..store.publish import write_text
from ..store.replacing import check_replaceable

# What height above the ellipsoid and the projection's change over a site explain; more is told.
NOTICEABLE_SCALE = 300e-6


@changes_survey
def site_grid_step(
    survey_path,
    name: str = "Site grid",
    base: Optional[str] = None,
    pairs_path=None,
    tie: Optional[GridTie] = None,
    scale: Optional[float] = None,
    report_path=None,
    monitor: Monitor = Monitor(),
) -> Tuple[str, Optional[TieFit]]:
    """Defines the coordinate system of the site grid and stamps it on survey.gpkg and its rasters; coordinates never change.

    Without `base` the grid stands alone. With it, it is tied by the point pairs in `pairs_path`, or by `tie`. `scale` is the scale
    of the tie; None lets the pairs give it, and takes that of the map projection at the origin where there are none.
    Returns the WKT and the fitted tie.
    """
    survey_path = Path(survey_path)
    check_replaceable(survey_path)
    if base is None:
        if pairs_path or tie:
            raise ProcessingError(tr("Choose the coordinate system that the site grid is to be tied to."))
        wkt, fit = local_crs_wkt(name), None
    else:
        fit = _fit(base, pairs_path, tie, scale, monitor)
        wkt = tied_crs_wkt(name, base, fit.tie)
    warnings = list(fit.warnings) if fit else []
    if fit:
        warnings += _scale_warnings(base, fit)
    for sentence in warnings:
        monitor.warn(sentence)
    monitor.step(0.2)
    rasters = [path for path in reading.read_raster_paths(survey_path) if path.is_file()]
    for number, path in enumerate(rasters):
        monitor.step(0.2 + 0.7 * number / len(rasters))
        geotiff.restamp(path, wkt)
    restamp(survey_path, wkt, {layers.CRS_KEY: wkt})
    parameters = {"name": name, "base": base_name(base) if base else None}
    if fit:
        parameters.update({key: getattr(fit.tie, key) for key in ("east_m", "north_m", "rotation_rad", "scale")})
    log = layers.run_log_layer(reading.read_run_log(survey_path), [("define site grid", parameters)])
    replace_layers(survey_path, [log], wkt)
    if report_path:
        write_text(report_path, paper_html(_grid_paper(name, base, fit, warnings, wkt)))
    return wkt, fit


def _fit(base: str, pairs_path, tie: Optional[GridTie], scale: Optional[float], monitor: Monitor) -> TieFit:
    if pairs_path:
        pairs, findings = read_pairs(pairs_path)
        for found in findings:
            monitor.warn(f"{found.where}: {found.text}")
        return fit_tie(pairs, scale)
    if tie is None:
        raise ProcessingError(tr("Tying the site grid needs two or more points known in both, or origin and rotation."))
    return TieFit(replace(tie, scale=scale or point_scale(base, tie.east_m, tie.north_m)))


def _scale_warnings(base: str, fit: TieFit) -> List[str]:
    expected = point_scale(base, fit.tie.east_m, fit.tie.north_m)
    apart = fit.tie.scale / expected - 1.0
    if abs(apart) <= max(NOTICEABLE_SCALE, 3.0 * np.nan_to_num(fit.sigma_scale)):
        return []
    return [
        tr(
            "The scale {scale:.6f} differs by {apart:+.0f} ppm ({per_100_m:.1f} mm in 100 m) from that of the map "
            "projection here, {expected:.6f}; height accounts for 157 ppm per km. Check tape, points and units.",
            scale=fit.tie.scale,
            apart=1e6 * apart,
            per_100_m=1e5 * abs(apart),
            expected=expected,
        )
    ]


def _grid_paper(name: str, base: Optional[str], fit: Optional[TieFit], warnings: List[str], wkt: str) -> Paper:
    title = tr("Site grid {name}", name=name)
    if not fit:
        text = tr(
            "The grid stands alone: a local plane in metres, not tied to a national grid. It can be tied later; "
            "coordinates will not change."
        )
        return Paper(title, (Section("", [Text(text)]),))
    tie = fit.tie
    values = [
        (tr("Tied to"), base_name(base)),
        (tr("Easting, northing of site 0, 0 (m)"), f"{tie.east_m:.4f}, {tie.north_m:.4f}"),
        (
            tr("Direction of site x, anticlockwise from grid east"),
            value_with_sigma(fit.rotation_deg, np.degrees(fit.sigma_rotation_rad), 6, "°"),
        ),
        (tr("Scale: national grid over site"), value_with_sigma(tie.scale, fit.sigma_scale, 7, "")),
        (tr("Scale of the map projection here"), f"{point_scale(base, tie.east_m, tie.north_m):.7f}"),
        (tr("100 m on site, in the national grid"), f"{100 * tie.scale:.4f} m"),
    ]
    grid = Table((tr("What"), tr("#Value")), values)
    sections = [Section("", [grid, Bullets(warnings)] if warnings else [grid])]
    if fit.pairs:
        sections.append(Section(tr("Points"), [_pair_table(fit), Text(tr("Residuals are fitted minus given."))]))
    sections.append(Section(tr("Definition (WKT2)"), [Text(wkt, is_source=True)]))
    return Paper(title, tuple(sections))


def _pair_table(fit: TieFit) -> Table:
    heads = (
        *(tr("Point"), tr("#Site x"), tr("#Site y"), tr("#East"), tr("#North"), tr("#Sigma mm")),
        *(tr("#Residual E mm"), tr("#Residual N mm"), tr("#Residual / sigma")),
    )
    rows = [
        (
            pair.point_id,
            *(f"{number:.3f}" for number in (*pair.site_m, *pair.base_m)),
            tenths_of_mm(pair.sigma_m),
            *(tenths_of_mm(number) for number in residual),
            "" if ratio is None else f"{ratio:.1f}",
        )
        for pair, residual, ratio in zip(fit.pairs, fit.residual_m, fit.standardized)
    ]
    return Table(heads, rows)
