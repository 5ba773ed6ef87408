"""Drawings for the office: DXF, a GeoPackage of the chosen layers, points to set out."""

from typing import Mapping, Optional, Sequence, Tuple

from ..common.language import trn
from ..common.monitor import Monitor
from ..common.vocabulary.surfaces import TOP
from ..drawings.dxf import write_dxf
from ..drawings.export import write_subset
from ..drawings.set_out_points import write_points
from ..reports.plane_content import Drawing, DrawingChoice, GridChange, read_drawing


def export_drawing_step(
    survey_path,
    surface: str = TOP,
    level: Optional[str] = None,
    choice: DrawingChoice = DrawingChoice(),
    holes: Sequence[Tuple[object, Mapping]] = (),
    national: bool = False,
    dxf_path=None,
    geopackage_path=None,
    points_path=None,
    band_m: float = 0.05,
    text_m: float = 0.03,
    spacing_m: float = 0.5,
    surface_height_m: Optional[float] = None,
    monitor: Monitor = Monitor(),
) -> Drawing:
    """Writes one level of a survey or record in each of the forms for which a path is given; the source is not changed.

    `holes` are rows of planned penetrations (x, y, site grid, and their columns, with a `verdict` if they were checked).
    `national` writes DXF and points in the grid that the site grid is tied to; a GeoPackage always has the site grid, whose
    definition holds the tie.
    """
    drawing = read_drawing(survey_path, surface, level, choice, holes)
    grid = GridChange(drawing, national)
    monitor.step(0.3)  # the last chance to cancel: what follows takes a moment, and the files belong together
    if dxf_path:
        write_dxf(dxf_path, drawing, grid, band_m, text_m)
    monitor.progress(0.6)
    if geopackage_path:
        write_subset(geopackage_path, drawing)
    monitor.progress(0.9)
    if points_path:
        count = write_points(points_path, drawing, grid, spacing_m, surface_height_m)
        monitor.log(trn("{count} point to set out was written.", "{count} points to set out were written.", count))
    monitor.progress(1.0)
    return drawing
