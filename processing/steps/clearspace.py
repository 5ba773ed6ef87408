"""Clear space: the largest diameter that may be drilled at each place."""

from typing import Mapping, Optional, Tuple

from ..common import cautions
from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.surfaces import TOP
from ..penetrations.clear_space import ClearSpace, fill_floor
from ..penetrations.ground import choose_level, find_ground, read_tables
from ..penetrations.model import Confidence, KindRule
from ..site.geotiff import Band, GridWriter
from ..site.grid import SiteGrid


def clear_space_step(
    survey_path,
    output_path,
    depth_m: float,
    rules: Mapping[str, KindRule],
    surface: str = TOP,
    level: Optional[str] = None,
    tolerance_m: float = 0.005,
    largest_m: float = 0.30,
    cell_m: float = 0.005,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Tuple[int, int]:
    """Writes a GeoTIFF of the largest diameter that may be drilled to `depth_m` at each cell, metres; nodata is unknown.

    Returns the numbers of cells that are known, and of those where something may be drilled. Raises `ProcessingError` where
    nothing was scanned both ways.
    """
    confidence.check()
    tables = read_tables(survey_path)
    ground = find_ground(tables, choose_level(tables, surface, level), surface, rules)
    space = ClearSpace(ground.pieces, ground.known, rules, depth_m, tolerance_m, largest_m, confidence)
    extent = space.extent_m
    if not len(extent):
        raise ProcessingError(
            tr(
                "Level {level} ({surface}) has no ground that was scanned in both directions, so that all of it "
                "is unknown.",
                level=ground.level,
                surface=surface,
            )
        )
    grid = SiteGrid.around(extent, cell_m)
    x, y = grid.centres_m()[0, :, 0], grid.centres_m()[:, 0, 1]
    band = Band(
        tr("Largest diameter, {depth:.0f} mm deep; no value is UNKNOWN, never clear", depth=1000 * depth_m),
        "m",
        (
            ("caution", cautions.SHORT),
            ("depth_m", f"{depth_m:g}"),
            ("keep_out_confidence", f"{confidence.keep_out:g}"),
            ("largest_m", f"{largest_m:g}"),
            ("level", ground.level),
            ("surface", surface),
            ("tolerance_m", f"{tolerance_m:g}"),
        ),
    )
    with GridWriter(output_path, grid, [band], tables.crs_wkt) as writer:
        return fill_floor(space, x, y, lambda cells, row, column: writer.write(cells[None], row, column), monitor)
