"""What leaves the office as a drawing: DXF, a GeoPackage of the chosen layers, points to set out; all with the cautions."""

from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

from .. import cautions
from ..language import tr
from ..monitor import Monitor
from .drawing_content import Drawing, DrawingChoice, GridChange, read_drawing
from .drawing_dxf import notes, write_dxf
from .drawing_points import write_points
from .geopackage import Layer, write_geopackage
from .layers import CRS_KEY

PARTS = (("items", "LineStringZ"), ("scan_areas", "Polygon"), ("coverage", "Polygon"), ("penetrations", "Point"))


def export_drawing_step(
    survey_path,
    surface: str = "top",
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
        monitor.log(tr("{count} points to set out were written.", count=count))
    monitor.progress(1.0)
    return drawing


def write_subset(path, drawing: Drawing) -> None:
    """A new GeoPackage with the chosen items, scan areas, coverage, holes and the table `read_me`; replaces any file at `path`."""
    rows = {
        "items": drawing.items,
        "scan_areas": drawing.areas,
        "coverage": drawing.coverage,
        "penetrations": [(tuple(place)[:2], row) for place, row in drawing.holes],
    }
    layers = [
        Layer(name, geometry, _fields(rows[name]), rows[name], cautions.SHORT) for name, geometry in PARTS if rows[name]
    ]
    sentences = notes(drawing, GridChange(drawing, national=False))
    read_me = [(None, {"text": text}) for text in sentences]
    layers.append(Layer("read_me", None, {"text": str}, read_me, tr("To be read before anything else.")))
    write_geopackage(Path(path), layers, drawing.crs_wkt, {CRS_KEY: drawing.crs_wkt})


def _fields(rows: List[Tuple[object, Mapping]]) -> Dict[str, type]:
    """Columns of the rows with the types of what they hold; one that is empty everywhere is kept as text."""
    fields: Dict[str, type] = {}
    for _, row in rows:
        for name, value in row.items():
            if fields.get(name) in (None, type(None)):
                fields[name] = type(value)
            elif fields[name] is int and isinstance(value, float):
                fields[name] = float
    return {name: kind if kind in (int, float, bool) else str for name, kind in fields.items()}
