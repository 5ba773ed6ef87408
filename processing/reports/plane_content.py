"""What a drawing of one level and surface shows: chosen items, holes, and how far the ground was looked into.

Read from the GeoPackage of a survey or of any record that has an `items` layer with the survey's columns; layers that are
missing there leave their part of the drawing empty, and ground without coverage counts as unknown.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import is_obstacle
from ..common.vocabulary.surfaces import is_elevation
from ..geometry.shapes import polygon_of
from ..site.crs import to_national
from ..store.geopackage import check_layers, read_layer
from ..store.reading import read_crs_wkt, read_survey_name
from ..store.schema import COVERAGE, ITEMS, PENETRATION_VERDICTS, SCAN_AREAS

MARGIN_M = 0.5  # drawn as unknown around everything


@dataclass(frozen=True)
class DrawingChoice:
    """Which items: kinds, and those whose top lies at least in part between two depths, metres."""

    kinds: Tuple[str, ...] = tuple(KINDS)
    from_depth_m: float = 0.0
    to_depth_m: float = 10.0

    def holds(self, row: Mapping) -> bool:
        """Is the item of this row meant? One without a depth always is: it may lie anywhere."""
        if row[ITEMS.kind] not in self.kinds and row[ITEMS.kind] in KINDS:
            return False
        if row[ITEMS.depth_min_m] is None or row[ITEMS.depth_max_m] is None:
            return True
        return row[ITEMS.depth_min_m] <= self.to_depth_m and row[ITEMS.depth_max_m] >= self.from_depth_m


@dataclass(frozen=True)
class Drawing:
    """One level seen from one surface. Rows are (coordinates, values) as `read_layer` gives them.

    Attributes
    ----------
    items, areas, coverage, holes : list of rows
        Item coordinates (n, 3), site grid, Z minus the depth of the top; one without position has None.
    choice : DrawingChoice
    left_out : int
        Items of the level that were not chosen.
    """

    name: str
    level: str
    surface: str
    crs_wkt: str = field(repr=False)
    choice: DrawingChoice
    items: List[Tuple[Optional[np.ndarray], Dict]] = field(repr=False)
    areas: List[Tuple[object, Dict]] = field(repr=False)
    coverage: List[Tuple[object, Dict]] = field(repr=False)
    holes: List[Tuple[np.ndarray, Mapping]] = field(repr=False)
    left_out: int = 0

    @property
    def placed(self) -> List[Tuple[np.ndarray, Dict]]:
        """Items with a position."""
        return [(line, row) for line, row in self.items if line is not None]

    def extent_m(self) -> np.ndarray:
        """Lower left and upper right corner of everything with the margin, site grid, shape (2, 2)."""
        parts = [line[:, :2] for line, _ in self.placed]
        parts += [rings[0] for rings, _ in (*self.areas, *self.coverage) if rings is not None]
        parts += [np.asarray(place)[None, :2] for place, _ in self.holes]
        corners = np.vstack(parts)
        return np.array([corners.min(axis=0) - MARGIN_M, corners.max(axis=0) + MARGIN_M])

    def unknown_ground(self):
        """The ground inside the extent that was not scanned both ways to a known depth, an OGR geometry, site grid."""
        (left, low), (right, high) = self.extent_m()
        frame = polygon_of([[(left, low), (right, low), (right, high), (left, high)]])
        for rings, row in self.coverage:
            if rings is not None and (row[COVERAGE.line_directions] or 0) >= 2 and row[COVERAGE.depth_m] is not None:
                frame = frame.Difference(polygon_of(rings))
        return frame


class GridChange:
    """Site coordinates as they are, or in the national grid that the site grid is tied to. Z stays."""

    def __init__(self, drawing: Drawing, national: bool):
        self.national = national
        self.wkt = drawing.crs_wkt
        if national and is_elevation(drawing.surface):
            raise ProcessingError(
                tr("A wall is drawn as an elevation, which has no position in a national grid; choose the site grid.")
            )
        self.name = to_national(self.wkt, np.zeros((1, 2)))[1] if national else tr("site grid")

    def __call__(self, points_m) -> np.ndarray:
        """Points of shape (n, 2) or (n, 3), metres."""
        points = np.array(points_m, float)
        if self.national:
            points[:, :2] = to_national(self.wkt, points[:, :2])[0]
        return points


def read_drawing(
    path, surface: str, level: Optional[str], choice: DrawingChoice, holes: Sequence[Tuple[object, Mapping]] = ()
) -> Drawing:
    """The drawing of one level. Raises `ProcessingError` where there is nothing to draw or the level is not said."""
    path = Path(path)
    tables = {name: read_layer(path, name) for name in (ITEMS.name, SCAN_AREAS.name, COVERAGE.name)}
    if not tables[ITEMS.name] and not tables[COVERAGE.name]:
        raise ProcessingError(
            tr(
                "{file} has no items and no coverage; run 'Detect items' or 'Process a survey' first, or choose another file.",
                file=path,
            )
        )
    check_layers(path, (ITEMS, SCAN_AREAS, COVERAGE))
    level = _choose(tables, surface, level)
    here = {
        name: [(shape, row) for shape, row in rows if (row[ITEMS.level], row[ITEMS.surface]) == (level, surface)]
        for name, rows in tables.items()
    }
    standing = [(line, with_depths(line, row)) for line, row in here[ITEMS.name] if is_obstacle(row[ITEMS.status])]
    chosen = [(shape, row) for shape, row in standing if choice.holds(row)]
    own_holes = [
        (place, row)
        for place, row in holes
        if (row.get(PENETRATION_VERDICTS.level) or level, row.get(PENETRATION_VERDICTS.surface) or surface)
        == (level, surface)
    ]
    drawing = Drawing(
        read_survey_name(path),
        level,
        surface,
        read_crs_wkt(path),
        choice,
        # Drawn without a height, an item counts as lying at the surface.
        [(None if line is None else np.nan_to_num(line), row) for line, row in chosen],
        here[SCAN_AREAS.name],
        here[COVERAGE.name],
        own_holes,
        len(standing) - len(chosen),
    )
    if not (drawing.placed or own_holes or any(rings for rings, _ in (*drawing.areas, *drawing.coverage))):
        raise ProcessingError(
            tr("Nothing on level {level} ({surface}) has a position on the site grid.", level=level, surface=surface)
        )
    return drawing


def with_depths(line: Optional[np.ndarray], row: Mapping) -> Dict:
    """The row with the depths that its line has; without heights those in its columns, if there are any."""
    depths = (row.get(ITEMS.depth_min_m), row.get(ITEMS.depth_max_m))
    if line is not None and line.shape[1] == 3 and np.isfinite(line[:, 2]).all():
        depths = (float(-line[:, 2].max()), float(-line[:, 2].min()))
    values = row.copy()
    values.update({ITEMS.depth_min_m: depths[0], ITEMS.depth_max_m: depths[1]})
    return values


def _choose(tables, surface: str, level: Optional[str]) -> str:
    levels = sorted({row[ITEMS.level] for rows in tables.values() for _, row in rows if row[ITEMS.surface] == surface})
    listed = ", ".join(levels) or tr("none")
    if level and level not in levels:
        raise ProcessingError(
            tr(
                "There is no level {level} on the surface {surface}; levels there: {listed}.",
                level=level,
                surface=surface,
                listed=listed,
            )
        )
    if not level and len(levels) != 1:
        raise ProcessingError(
            tr("Choose the level to draw; levels on the surface {surface}: {listed}.", surface=surface, listed=listed)
        )
    return level or levels[0]
