"""The tables that every report draws on, from the GeoPackage of a survey or of a record, which calls some columns otherwise.

Both reports on a survey read these rows: a run reads back what it has just written, so that the two cannot say different things.
"""

import json
from pathlib import Path
from typing import Dict, List, Mapping, Tuple

from ..penetrations.model import NO_OBSTACLE
from ..radar.model import WaveSpeed
from ..store.geopackage import read_layer
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
    WAVE_SPEEDS,
)
from .plane_content import with_depths

SIDES = ("top", "soffit", "wall")  # in this order


class SurveyTables:
    """Each table read once; a missing one is empty.

    Attributes
    ----------
    rows : dict
        Table to its rows, (coordinates, values).
    items : list of rows
        Those that were neither refuted nor superseded, which are counted by `no_obstacle`.
    planes : list of (level, surface)
    wave_speeds : dict of WaveSpeed by area id
    is_record : bool
        Then what was noticed in single surveys, and what checked their wave speeds, is not here.
    """

    NAMES = (
        *(SCAN_AREAS.name, CONTROL_POINTS.name, ITEMS.name, COVERAGE.name, MATS.name, SEAMS.name, TIES.name),
        *(AREA_DEPTHS.name, FINDINGS.name, SCAN_LINES.name),
    )

    def __init__(self, path):
        self.path = Path(path)
        self.rows = {name: _alike(name, read_layer(self.path, name)) for name in self.NAMES}
        self.crs_wkt = read_crs_wkt(self.path)
        self.items = [
            (line, with_depths(line, row))
            for line, row in self.rows[ITEMS.name]
            if row[ITEMS.status] not in NO_OBSTACLE
        ]
        self.no_obstacle = len(self.rows[ITEMS.name]) - len(self.items)
        places = {
            (row[SCAN_AREAS.level], row[SCAN_AREAS.surface])
            for name in (SCAN_AREAS.name, ITEMS.name, COVERAGE.name)
            for _, row in self.rows[name]
        }
        self.planes = sorted(places, key=lambda one: (SIDES.index(one[1]), one[0]))
        self.is_record = bool(read_layer(self.path, "about"))
        self.wave_speeds = read_wave_speeds(self.path) or _speeds_of_areas(self.values(SCAN_AREAS.name))
        if not self.rows[AREA_DEPTHS.name]:
            self.rows[AREA_DEPTHS.name] = [
                (None, row) for row in self.values(SCAN_AREAS.name) if AREA_DEPTHS.thickness_m in row
            ]

    @property
    def was_searched(self) -> bool:
        """Is there an item, or ground that counts as scanned? Otherwise items were not detected yet."""
        return bool(self.rows[ITEMS.name] or self.rows[COVERAGE.name])

    def of_plane(self, name: str, plane: Tuple[str, str]) -> List[Tuple[object, Dict]]:
        """Rows of one level and surface."""
        rows = self.items if name == ITEMS.name else self.rows[name]
        return [(shape, row) for shape, row in rows if (row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) == plane]

    def values(self, name: str) -> List[Dict]:
        """Rows without their shapes."""
        return [row for _, row in self.rows[name]]


def _alike(name: str, rows) -> List[Tuple[object, Dict]]:
    """Rows with the names that a survey uses; in a record a mat's numbers are one column of JSON."""
    keys = {COVERAGE.name: (COVERAGE.area_id, "area_key"), MATS.name: (MATS.mat_id, "mat_key")}
    if name not in keys:
        return rows
    ours, theirs = keys[name]
    found = []
    for shape, row in rows:
        values = {**row, **json.loads(row.get("description") or "{}")} if name == MATS.name else dict(row)
        values.setdefault(ours, values.get(theirs))
        found.append((shape, values))
    return found


def _speeds_of_areas(areas: List[Mapping]) -> Dict[str, WaveSpeed]:
    """Wave speeds that stand with the scan areas, as in a record."""
    return {
        row[WAVE_SPEEDS.area_id]: WaveSpeed(
            row[WAVE_SPEEDS.area_id],
            row[WAVE_SPEEDS.speed_m_ns],
            row[WAVE_SPEEDS.sigma_m_ns],
            row[WAVE_SPEEDS.time_zero_ns],
            row[WAVE_SPEEDS.sigma_time_zero_ns],
            row.get("survey_method") or "",
            row.get(WAVE_SPEEDS.correlation) or 0.0,
            tuple((row.get(WAVE_SPEEDS.warnings) or "").splitlines()),
            antenna_separation_m=row.get(SCAN_AREAS.antenna_separation_m) or 0.0,
        )
        for row in areas
        if row.get(WAVE_SPEEDS.speed_m_ns) is not None
    }
