"""The steps that define the site grid and bring drawings onto it, composed.

Like `chain.py`, every function here is one call for one Processing algorithm: plain paths and numbers in, files out, earlier
results left as they were when it is cancelled or fails.
"""

from dataclasses import replace
from html import escape
from pathlib import Path
from typing import List, Optional, Sequence, Tuple

import numpy as np

from .errors import ProcessingError
from .language import tr
from .monitor import Monitor
from .outputs import drawings, layers, stored
from .outputs.folder_lock import changes_survey
from .outputs.geopackage import check_replaceable, replace_layers, restamp
from .outputs.publish import publish, staging_folder, write_text
from .outputs.report_page import millimetres, page, table
from .outputs.words import word
from .site import geotiff
from .site.crs import base_name, local_crs_wkt, point_scale, tied_crs_wkt
from .site.drawing_fit import SIMILARITY, DrawingFit, DrawingPair, fit_drawing
from .site.tie import GridTie, TieFit, fit_tie, read_pairs

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
            raise ProcessingError(tr("Tying the site grid needs the coordinate system to tie it to; choose it."))
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
    rasters = [path for path in stored.read_raster_paths(survey_path) if path.is_file()]
    for number, path in enumerate(rasters):
        monitor.step(0.2 + 0.7 * number / len(rasters))
        geotiff.restamp(path, wkt)
    restamp(survey_path, wkt, {layers.CRS_KEY: wkt})
    parameters = {"name": name, "base": base_name(base) if base else None}
    if fit:
        parameters.update({key: getattr(fit.tie, key) for key in ("east_m", "north_m", "rotation_rad", "scale")})
    log = layers.run_log_layer(stored.read_run_log(survey_path), [("define site grid", parameters)])
    replace_layers(survey_path, [log], wkt)
    if report_path:
        write_text(report_path, _grid_report(name, base, fit, warnings, wkt))
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
            "The scale {scale:.6f} differs by {apart:+.0f} millionths ({per_100_m:.1f} mm in 100 m) from that of "
            "the map projection here, {expected:.6f}; height explains 157 millionths a kilometre. Check tape, "
            "points and units.",
            scale=fit.tie.scale,
            apart=1e6 * apart,
            per_100_m=1e5 * abs(apart),
            expected=expected,
        )
    ]


def _grid_report(name: str, base: Optional[str], fit: Optional[TieFit], warnings: List[str], wkt: str) -> str:
    parts = [f"<h1>{tr('Site grid {name}', name=escape(name))}</h1>"]
    if not fit:
        parts.append(
            "<p>"
            + tr(
                "The grid stands alone: a local plane in metres, tied to no national grid. It can be tied later; coordinates "
                "will not change."
            )
            + "</p>"
        )
        return page(tr("Site grid {name}", name=name), parts)
    tie = fit.tie
    values = [
        (tr("Tied to"), base_name(base)),
        (tr("Easting, northing of site 0, 0 (m)"), f"{tie.east_m:.4f}, {tie.north_m:.4f}"),
        (
            tr("Direction of site x, anticlockwise from grid east"),
            _with_sigma(fit.rotation_deg, np.degrees(fit.sigma_rotation_rad), 6, "°"),
        ),
        (tr("Scale: national grid over site"), _with_sigma(tie.scale, fit.sigma_scale, 7, "")),
        (tr("Scale of the map projection here"), f"{point_scale(base, tie.east_m, tie.north_m):.7f}"),
        (tr("100 m on site are, in the national grid"), f"{100 * tie.scale:.4f} m"),
    ]
    parts.append(table((tr("What"), tr("#Value")), values))
    if warnings:
        parts.append("<ul>" + "".join(f"<li>{escape(text)}</li>" for text in warnings) + "</ul>")
    if fit.pairs:
        rows = [
            (
                pair.point_id,
                *(f"{number:.3f}" for number in (*pair.site_m, *pair.base_m)),
                millimetres(pair.sigma_m),
                *(millimetres(number) for number in residual),
                "" if ratio is None else f"{ratio:.1f}",
            )
            for pair, residual, ratio in zip(fit.pairs, fit.residual_m, fit.standardized)
        ]
        heads = (
            tr("Point"),
            tr("#Site x"),
            tr("#Site y"),
            tr("#East"),
            tr("#North"),
            tr("#Sigma mm"),
            tr("#Residual E mm"),
            tr("#Residual N mm"),
            tr("#Over its sigma"),
        )
        parts.append(f"<h2>{tr('Points')}</h2>{table(heads, rows)}<p>{tr('Residuals are fitted minus given.')}</p>")
    parts.append(f'<h2>{tr("Definition (WKT2)")}</h2><p class="source">{escape(wkt)}</p>')
    return page(tr("Site grid {name}", name=name), parts)


def fit_drawing_step(
    drawing_path,
    pairs: Sequence[DrawingPair],
    output_folder,
    method: str = SIMILARITY,
    survey_path=None,
    page_number: int = 1,
    dots_per_inch: float = 200.0,
    monitor: Monitor = Monitor(),
) -> Tuple[Path, DrawingFit, List[str]]:
    """Puts a drawing on the site grid: `<name>.gpkg` for DXF, `<name>.tif` for a picture or PDF page, and `<name>-fit.html`, into
    `output_folder`. Returns the file, the fit and sentences for the user.

    `survey_path` is a survey whose site grid is meant; without one it is the plain local grid.
    """
    drawing_path, folder = Path(drawing_path), Path(output_folder)
    picture = drawings.is_picture(drawing_path)
    crs_wkt = stored.read_crs_wkt(survey_path) if survey_path else local_crs_wkt()
    fit = fit_drawing(pairs, method, picture)
    sentences = list(fit.warnings)
    doubts: List[str] = []
    if not picture:
        said, doubts = drawings.unit_sentences(drawings.drawing_unit(drawing_path), fit)
        sentences += said + doubts
    monitor.step(0.2)
    with staging_folder(folder) as staging:
        target = staging / f"{drawing_path.stem}{'.tif' if picture else '.gpkg'}"
        if picture:
            drawings.write_picture(drawing_path, fit, target, crs_wkt, page_number, dots_per_inch)
        else:
            counts = drawings.write_linework(drawing_path, fit, target, crs_wkt)
            sentences.append(
                tr("Features written: ") + ", ".join(f"{name} {count}" for name, count in counts.items()) + "."
            )
        write_text(staging / f"{drawing_path.stem}-fit.html", _drawing_report(drawing_path, fit, sentences, picture))
        monitor.step(0.95)
        publish(staging, folder)
    for sentence in sentences:
        (monitor.warn if sentence in fit.warnings or sentence in doubts else monitor.log)(sentence)
    return folder / target.name, fit, sentences


def _drawing_report(path: Path, fit: DrawingFit, sentences: List[str], picture: bool) -> str:
    unit = tr("pixel") if picture else tr("unit")
    values = [
        (tr("Method"), word(fit.method)),
        (tr("Metres a {unit}, along x and y", unit=unit), tr(" and ").join(f"{scale:.8g}" for scale in fit.scales_m)),
        (tr("Direction of the drawing's x on the site grid"), f"{fit.rotation_deg:.4f}°"),
        (tr("RMS residual (mm)"), millimetres(fit.rms_m)),
        (tr("1-sigma of one coordinate, from the residuals (mm)"), millimetres(fit.sigma_m)),
    ]
    rows = [
        (
            pair.point_id,
            *(f"{number:.3f}" for number in (*pair.drawing, *pair.site_m)),
            *(millimetres(number) for number in residual),
            "" if ratio is None else f"{ratio:.1f}",
        )
        for pair, residual, ratio in zip(fit.pairs, fit.residual_m, fit.ratio)
    ]
    heads = (
        tr("Point"),
        tr("#Drawing x"),
        tr("#Drawing y"),
        tr("#Site x"),
        tr("#Site y"),
        tr("#Residual x mm"),
        tr("#Residual y mm"),
        tr("#Over its sigma"),
    )
    parts = [
        f"<h1>{tr('Drawing {name}', name=escape(path.name))}</h1>",
        table((tr("What"), tr("#Value")), values),
        "<ul>" + "".join(f"<li>{escape(text)}</li>" for text in sentences) + "</ul>" if sentences else "",
        f"<h2>{tr('Control points')}</h2>{table(heads, rows)}",
        f"<p>{tr('Residuals are fitted minus given, on the site grid.')}</p>",
        f"<p>{tr('A drawing shows what was planned. It says nothing of what was built or where it lies.')}</p>",
    ]
    return page(tr("Drawing {name}", name=path.name), parts)


def _with_sigma(value: float, sigma: float, digits: int, unit: str) -> str:
    text = f"{value:.{digits}f}{unit}"
    return text if np.isnan(sigma) else f"{text} ± {sigma:.{digits}f}{unit}"
