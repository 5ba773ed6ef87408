"""What leaves the office as a drawing: DXF, a GeoPackage of the chosen layers, points to set out; all with the cautions."""

from pathlib import Path
from typing import Dict, List, Mapping, Tuple

from ..common import cautions
from ..common.language import tr
from ..reports.plane_content import Drawing, GridChange
from ..store.geopackage import write_geopackage
from ..store.layer import Layer
from ..store.schema import COVERAGE, CRS_KEY, ITEMS, SCAN_AREAS
from .dxf import notes

PARTS = (
    (ITEMS.name, "LineStringZ"),
    (SCAN_AREAS.name, "Polygon"),
    (COVERAGE.name, "Polygon"),
    ("penetrations", "Point"),
)


def write_subset(path, drawing: Drawing) -> None:
    """A new GeoPackage with the chosen items, scan areas, coverage, holes and the table `read_me`; replaces any file at `path`."""
    rows = {
        ITEMS.name: drawing.items,
        SCAN_AREAS.name: drawing.areas,
        COVERAGE.name: drawing.coverage,
        "penetrations": [(tuple(place)[:2], row) for place, row in drawing.holes],
    }
    layers = [
        Layer(name, geometry, _fields(rows[name]), rows[name], cautions.SHORT) for name, geometry in PARTS if rows[name]
    ]
    sentences = notes(drawing, GridChange(drawing, national=False))
    read_me = [(None, {"text": text}) for text in sentences]
    layers.append(Layer("read_me", None, {"text": str}, read_me, tr("Read this before anything else.")))
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
