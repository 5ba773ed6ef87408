"""The tables that every report draws on, from the GeoPackage of a survey or of a record, which calls some columns otherwise.

Both reports on a survey read these rows: a run reads back what it has just written, so that the two cannot say different things.
"""

import json
from pathlib import Path
from typing import Dict, List, Mapping, Tuple

from ..common.vocabulary.statuses import is_obstacle
from ..common.vocabulary.surfaces import plane_order
from ..radar.model import WaveSpeed
from ..record.schema import ABOUT
from ..record.schema import COVERAGE as KEPT_COVERAGE
from ..record.schema import MATS as KEPT_MATS
from ..record.schema import SCAN_AREAS as KEPT_AREAS
from ..store.geopackage import check_layers, read_layer
from ..store.reading import read_crs_wkt, read_wave_speeds
from ..store.schema import (
    AREA_DEPTHS,
    CONTROL_POINTS,
    COVERAGE,
    FINDINGS,
    ITEMS,
    MATS,
    SCAN_AREAS,
    SCAN_LINES,
    SEAMS,
    TIES,
)
from ..store.table_schema import Table
from .plane_content import with_depths

_DESCRIPTION = "description"  # the column of a record's mats; on the table itself this name says what a row is


class SurveyTables:
    """Each table read once; a missing one is empty.

    Attributes
    ----------
    items : list of rows
        Those that were neither refuted nor superseded, which are counted in `no_obstacle_count`.
    planes : list of (level, surface)
    wave_speeds : dict of WaveSpeed by area id
    is_record : bool
        Then what was noticed in single surveys, and what checked their wave speeds, is not here.
    """

    TABLES = (
        *(SCAN_AREAS, SCAN_LINES, CONTROL_POINTS, TIES, SEAMS),
        *(ITEMS, MATS, COVERAGE, AREA_DEPTHS, FINDINGS),
    )

    def __init__(self, path):
        self.path = Path(path)
        self._rows = {table.name: _alike(table, read_layer(self.path, table.name)) for table in self.TABLES}
        if self.was_searched:
            check_layers(self.path, (SCAN_AREAS, ITEMS, COVERAGE))
        self.crs_wkt = read_crs_wkt(self.path)
        self.items = [
            (line, with_depths(line, row)) for line, row in self.rows(ITEMS) if is_obstacle(row[ITEMS.status])
        ]
        self.no_obstacle_count = len(self.rows(ITEMS)) - len(self.items)
        placed = [row for table in (SCAN_AREAS, ITEMS, COVERAGE) for row in self.values(table)]
        places = {(row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) for row in placed}
        self.planes = sorted(places, key=plane_order)
        self.is_record = bool(read_layer(self.path, ABOUT.name))
        self.wave_speeds = read_wave_speeds(self.path) or _speeds_of_areas(self.values(SCAN_AREAS))
        if not self.rows(AREA_DEPTHS):
            self._rows[AREA_DEPTHS.name] = [
                (None, row) for row in self.values(SCAN_AREAS) if AREA_DEPTHS.thickness_m in row
            ]

    @property
    def was_searched(self) -> bool:
        """Is there an item, or ground that counts as scanned? Otherwise items were not detected yet."""
        return bool(self.rows(ITEMS) or self.rows(COVERAGE))

    def rows(self, table: Table) -> List[Tuple[object, Dict]]:
        """The rows of one of `TABLES`, (coordinates, values)."""
        return self._rows[table.name]

    def of_plane(self, table: Table, plane: Tuple[str, str]) -> List[Tuple[object, Dict]]:
        """Rows of one level and surface; of items those in `items`."""
        rows = self.items if table is ITEMS else self.rows(table)
        return [(shape, row) for shape, row in rows if (row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) == plane]

    def values(self, table: Table) -> List[Dict]:
        """Rows without their shapes."""
        return [row for _, row in self.rows(table)]


def _alike(table: Table, rows) -> List[Tuple[object, Dict]]:
    """Rows with the names that a survey uses; in a record a mat's numbers are one column of JSON."""
    keys = {COVERAGE: (COVERAGE.area_id, KEPT_COVERAGE.area_key), MATS: (MATS.mat_id, KEPT_MATS.mat_key)}
    if table not in keys:
        return rows
    ours, theirs = keys[table]
    found = []
    for shape, row in rows:
        values = row.copy()
        if table is MATS:
            values.update(json.loads(row.get(_DESCRIPTION) or "{}"))
        values.setdefault(ours, values.get(theirs))
        found.append((shape, values))
    return found


def _speeds_of_areas(areas: List[Mapping]) -> Dict[str, WaveSpeed]:
    """Wave speeds that stand with the scan areas, as in a record."""
    return {
        row[KEPT_AREAS.area_id]: WaveSpeed(
            row[KEPT_AREAS.area_id],
            row[KEPT_AREAS.speed_m_ns],
            row[KEPT_AREAS.sigma_m_ns],
            row[KEPT_AREAS.time_zero_ns],
            row[KEPT_AREAS.sigma_time_zero_ns],
            row.get(KEPT_AREAS.survey_method) or "",
            row.get(KEPT_AREAS.correlation) or 0.0,
            tuple((row.get(KEPT_AREAS.warnings) or "").splitlines()),
            antenna_separation_m=row.get(KEPT_AREAS.antenna_separation_m) or 0.0,
        )
        for row in areas
        if row.get(KEPT_AREAS.speed_m_ns) is not None
    }
