"""Items, coverage and slab base of a processed survey, as what penetrations are checked against."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Callable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError, SurveyError
from ..common.language import tr
from ..common.vocabulary.kinds import KINDS, kind_of
from ..common.vocabulary.statuses import is_obstacle
from ..edits.carried_over import HAND_SIGMA_M
from ..floor.hidden_ground import find_hidden
from ..floor.result import BASE
from ..floor.unknown_ground import KnownGround, ScannedPiece
from ..site.frame import FITTED
from ..site.geotiff import GridReader
from ..store.geopackage import read_layers
from ..store.reading import ABOUT, check_surfaces, crs_wkt_of, raster_path
from ..store.schema import COVERAGE, CRS_KEY, ITEMS, RASTERS, SCAN_AREAS, WAVE_SPEEDS
from .clearance import Pieces, cut_up
from .model import KindRule, Obstacle, check_rules, rule_for

# Where no wave speed is stored: 1 GHz in concrete of relative permittivity 9.
USUAL_WAVELENGTH_M = 0.10


@dataclass(frozen=True)
class Ground:
    """What a survey says of one level, seen from one surface: items cut up, and what is known."""

    level: str
    surface: str
    pieces: Pieces = field(repr=False)
    known: KnownGround = field(repr=False)


@dataclass(frozen=True)
class GroundTables:
    """The tables of a survey that say what is known of its ground, and the coordinate system of its site grid.

    `rows`: of each of `TABLES` by name, as `read_layer` gives them.
    """

    TABLES = (SCAN_AREAS, COVERAGE, ITEMS, WAVE_SPEEDS, RASTERS)

    survey_path: Path
    rows: Mapping[str, List[Tuple[object, Mapping]]] = field(repr=False)
    crs_wkt: str = field(repr=False)

    @property
    def planes(self) -> List[Tuple[str, str]]:
        """Level and surface of the survey's scan areas, sorted, each once."""
        return sorted({(row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) for _, row in self.rows[SCAN_AREAS.name]})


def read_tables(survey_path) -> GroundTables:
    """All that verdicts need of a survey.gpkg, which is opened once.

    Raises `SurveyError` if it is no GeoPackage or states an unknown surface.
    """
    names = [*(table.name for table in GroundTables.TABLES), ABOUT]
    rows, metadata = read_layers(survey_path, names, [CRS_KEY], together=(ITEMS.name, COVERAGE.name))
    for table in (SCAN_AREAS, COVERAGE, ITEMS):
        check_surfaces(survey_path, table, (row for _, row in rows[table.name]))
    return GroundTables(Path(survey_path), rows, crs_wkt_of(rows[ABOUT], metadata[CRS_KEY]))


def choose_level(tables: GroundTables, surface: str, level: Optional[str] = None) -> str:
    """The level meant: the one given, or the only one that has scan areas on `surface`.

    Raises `ProcessingError` with the levels to choose from.
    """
    levels = [one for one, side in tables.planes if side == surface]
    if level:
        if level in levels:
            return level
        listed = ", ".join(levels) or tr("none")
        raise ProcessingError(
            tr(
                "Level {level} has no scan area on the surface {surface}; levels that do: {listed}.",
                level=level,
                surface=surface,
                listed=listed,
            )
        )
    if len(levels) == 1:
        return levels[0]
    if not levels:
        raise ProcessingError(
            tr("The survey has no scan area on the surface {surface}; choose another surface.", surface=surface)
        )
    raise ProcessingError(tr("The survey has several levels; choose one of them: {levels}.", levels=", ".join(levels)))


def find_ground(tables: GroundTables, level: str, surface: str, rules: Mapping[str, KindRule]) -> Ground:
    """Items, coverage and slab base of one level and surface.

    Raises `SurveyError` where items were not detected yet.
    """
    check_rules(rules)
    areas = [row for _, row in tables.rows[SCAN_AREAS.name]]
    here = [row for row in areas if (row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) == (level, surface)]
    coverage = tables.rows[COVERAGE.name]
    item_rows = tables.rows[ITEMS.name]
    if not coverage and not item_rows:
        raise SurveyError(
            tr(
                "{survey_path} has no items and no coverage; run 'Detect items' or 'Process a survey' first.",
                survey_path=tables.survey_path,
            )
        )
    obstacles = [
        _obstacle(line, row, rules)
        for line, row in item_rows
        if line is not None
        and (row[ITEMS.level], row[ITEMS.surface]) == (level, surface)
        and is_obstacle(row[ITEMS.status])
    ]
    pieces = cut_up(obstacles)
    scanned = [
        ScannedPiece(
            row[COVERAGE.area_id],
            rings,
            row[COVERAGE.depth_m],
            row[COVERAGE.line_directions],
            row[COVERAGE.sigma_xy_m] or 0.0,
        )
        for rings, row in coverage
        if rings is not None and (row[COVERAGE.level], row[COVERAGE.surface]) == (level, surface)
    ]
    unplaced = [row[SCAN_AREAS.area_id] for row in here if row[SCAN_AREAS.status] != FITTED]
    strips = find_hidden(pieces, pieces.largest_radius_m, pieces.keep_out_m, _longest_wavelength_m(tables, here))
    base = _base_reader(tables, level, surface)
    return Ground(level, surface, pieces, KnownGround(scanned, strips, base, unplaced))


def _obstacle(line: np.ndarray, row: Mapping, rules: Mapping[str, KindRule]) -> Obstacle:
    probabilities = {kind: row.get(f"p_{kind}") or 0.0 for kind in KINDS}
    kind = kind_of(row[ITEMS.kind]).key
    return Obstacle(
        row[ITEMS.item_id] or tr("a drawn item"),
        kind,
        # Drawn without a height, it counts as lying at the surface, in the way of every hole.
        np.nan_to_num(line * [1.0, 1.0, -1.0]),
        HAND_SIGMA_M if row[ITEMS.sigma_xy_m] is None else row[ITEMS.sigma_xy_m],
        HAND_SIGMA_M if row[ITEMS.sigma_depth_m] is None else row[ITEMS.sigma_depth_m],
        1.0 if row[ITEMS.confidence] is None else row[ITEMS.confidence],
        rule_for(probabilities, kind, rules),
    )


def _longest_wavelength_m(tables: GroundTables, areas: Sequence[Mapping]) -> float:
    """Of the areas' wavelengths in concrete at their centre frequency, the longest, metres."""
    speeds = {row[WAVE_SPEEDS.area_id]: row[WAVE_SPEEDS.speed_m_ns] for _, row in tables.rows[WAVE_SPEEDS.name]}
    found = [
        1000.0 * speeds[row[SCAN_AREAS.area_id]] / row[SCAN_AREAS.centre_frequency_mhz]
        for row in areas
        if row[SCAN_AREAS.area_id] in speeds and row[SCAN_AREAS.centre_frequency_mhz]
    ]
    return max(found, default=USUAL_WAVELENGTH_M)


def _base_reader(tables: GroundTables, level: str, surface: str) -> Callable:
    """Slab thickness and its sigma at points; NaN where the base is not seen."""
    rows = [row for _, row in tables.rows[RASTERS.name]]
    rows = [
        row
        for row in rows
        if row[RASTERS.content] == BASE
        and not row[RASTERS.area_id]
        and (row[RASTERS.level], row[RASTERS.surface]) == (level, surface)
    ]
    path = raster_path(tables.survey_path, rows[0][RASTERS.path]) if rows else None
    if path is None:
        return KnownGround().base
    reader = GridReader(path)
    grid = reader.grid
    cube = reader.read(0, 0, grid.rows, grid.columns)

    def base(points_m: np.ndarray) -> Tuple[np.ndarray, np.ndarray]:
        x, y = np.asarray(points_m, float).T
        column = np.floor(x / grid.cell_m).astype(int) - grid.left
        row = grid.top - 1 - np.floor(y / grid.cell_m).astype(int)
        inside = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
        found = cube[:, np.clip(row, 0, grid.rows - 1), np.clip(column, 0, grid.columns - 1)].astype(float)
        found[:, ~inside] = np.nan
        return found[0], found[1]

    return base
