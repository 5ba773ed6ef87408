"""Drawings brought onto the site grid."""

from pathlib import Path
from typing import List, Sequence, Tuple

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.values import word
from ..common.words import tenths_of_mm
from ..drawings import onto_grid
from ..reports.content import Bullets, Paper, Section, Table, Text
from ..reports.page import paper_html
from ..site.crs import local_crs_wkt
from ..site.drawing_fit import SIMILARITY, DrawingFit, DrawingPair, fit_drawing
from ..store import reading
from ..store.publish import publish, staging_folder, write_text


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
    picture = onto_grid.is_picture(drawing_path)
    crs_wkt = reading.read_crs_wkt(survey_path) if survey_path else local_crs_wkt()
    fit = fit_drawing(pairs, method, picture)
    sentences = list(fit.warnings)
    doubts: List[str] = []
    if not picture:
        said, doubts = onto_grid.unit_sentences(onto_grid.drawing_unit(drawing_path), fit)
        sentences += said + doubts
    monitor.step(0.2)
    with staging_folder(folder) as staging:
        target = staging / f"{drawing_path.stem}{'.tif' if picture else '.gpkg'}"
        if picture:
            onto_grid.write_picture(drawing_path, fit, target, crs_wkt, page_number, dots_per_inch)
        else:
            counts = onto_grid.write_linework(drawing_path, fit, target, crs_wkt)
            sentences.append(
                tr("Features written: ") + ", ".join(f"{name} {count}" for name, count in counts.items()) + "."
            )
        paper = _drawing_paper(drawing_path, fit, sentences, picture)
        write_text(staging / f"{drawing_path.stem}-fit.html", paper_html(paper))
        monitor.step(0.95)
        publish(staging, folder)
    for sentence in sentences:
        (monitor.warn if sentence in fit.warnings or sentence in doubts else monitor.log)(sentence)
    return folder / target.name, fit, sentences


def _drawing_paper(path: Path, fit: DrawingFit, sentences: List[str], picture: bool) -> Paper:
    unit = tr("pixel") if picture else tr("unit")
    values = [
        (tr("Method"), word(fit.method)),
        (tr("Metres per {unit}, along x and y", unit=unit), tr(" and ").join(f"{scale:.8g}" for scale in fit.scales_m)),
        (tr("Direction of the drawing's x on the site grid"), f"{fit.rotation_deg:.4f}°"),
        (tr("RMS residual (mm)"), tenths_of_mm(fit.rms_m)),
        (tr("1-sigma of one coordinate, from the residuals (mm)"), tenths_of_mm(fit.sigma_m)),
    ]
    rows = [
        (
            pair.point_id,
            *(f"{number:.3f}" for number in (*pair.drawing, *pair.site_m)),
            *(tenths_of_mm(number) for number in residual),
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
        tr("#Residual / sigma"),
    )
    scale = Table((tr("What"), tr("#Value")), values)
    below = (
        Text(tr("Residuals are fitted minus given, on the site grid.")),
        Text(tr("A drawing shows what was planned. It says nothing about what was built, or where.")),
    )
    sections = (
        Section("", [scale, Bullets(sentences)] if sentences else [scale]),
        Section(tr("Control points"), [Table(heads, rows), *below]),
    )
    return Paper(tr("Drawing {name}", name=path.name), sections)
