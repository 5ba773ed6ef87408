"""The optional tables of a survey folder that say more about where areas lie than control points do.

```
ties.csv            tie_id,area_id_a,local_x_a_m,local_y_a_m,area_id_b,local_x_b_m,local_y_b_m,sigma_m
directions.csv      direction_id,area_id,local_direction_deg,site_direction_deg,sigma_deg
tape_distances.csv  distance_id,area_id,local_x_m,local_y_m,line_start_x_m,line_start_y_m,line_end_x_m,line_end_y_m,
                    distance_m,sigma_m
```
"""

from pathlib import Path
from typing import List, Optional

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr
from ..survey.model import Finding
from ..survey.tables import Name, Number, Row, Text, read_table
from .observations import KnownDirection, Observations, TapeDistance, Tie

TIES_FILE, DIRECTIONS_FILE, DISTANCES_FILE = "ties.csv", "directions.csv", "tape_distances.csv"

_LOCAL = Number(-1000.0, 1000.0, tr("metres of the area's local grid"))
_SITE = Number(-1e8, 1e8, "metres")
_SIGMA = Number(1e-5, 10.0, "metres")
_ANGLE = Number(-360.0, 360.0, "degrees")

TIE_COLUMNS = {
    "tie_id": Text(),
    "area_id_a": Name(),
    "local_x_a_m": _LOCAL,
    "local_y_a_m": _LOCAL,
    "area_id_b": Name(),
    "local_x_b_m": _LOCAL,
    "local_y_b_m": _LOCAL,
    "sigma_m": _SIGMA,
}
DIRECTION_COLUMNS = {
    "direction_id": Text(),
    "area_id": Name(),
    "local_direction_deg": _ANGLE,
    "site_direction_deg": _ANGLE,
    "sigma_deg": Number(1e-4, 90.0, "degrees"),
}
DISTANCE_COLUMNS = {
    "distance_id": Text(),
    "area_id": Name(),
    "local_x_m": _LOCAL,
    "local_y_m": _LOCAL,
    "line_start_x_m": _SITE,
    "line_start_y_m": _SITE,
    "line_end_x_m": _SITE,
    "line_end_y_m": _SITE,
    "distance_m": _SITE,
    "sigma_m": _SIGMA,
}


def read_observations(folder, findings: List[Finding], ties_path=None) -> Observations:
    """Ties, known directions and taped distances of a survey folder; what cannot be used becomes a finding.

    `ties_path` names another table of ties than the folder's. Raises `SurveyError` if it is given and is no such table.
    """
    folder = Path(folder)
    if ties_path:
        tie_rows = _unique(read_table(Path(ties_path), TIE_COLUMNS, findings), "tie_id", findings)
    else:
        tie_rows = _rows(folder / TIES_FILE, TIE_COLUMNS, "tie_id", findings)
    ties = [
        Tie(
            v["tie_id"],
            (v["area_id_a"], v["area_id_b"]),
            ((v["local_x_a_m"], v["local_y_a_m"]), (v["local_x_b_m"], v["local_y_b_m"])),
            v["sigma_m"],
        )
        for v in (row.values for row in tie_rows)
    ]
    directions = [
        KnownDirection(
            v["direction_id"],
            v["area_id"],
            *(float(np.radians(v[name])) for name in ("local_direction_deg", "site_direction_deg", "sigma_deg")),
        )
        for v in (row.values for row in _rows(folder / DIRECTIONS_FILE, DIRECTION_COLUMNS, "direction_id", findings))
    ]
    distances = []
    for row in _rows(folder / DISTANCES_FILE, DISTANCE_COLUMNS, "distance_id", findings):
        distance = _distance(row, findings)
        if distance is not None:
            distances.append(distance)
    return Observations(tuple(ties), tuple(directions), tuple(distances))


def _rows(path: Path, columns, key: str, findings: List[Finding]) -> List[Row]:
    if not path.exists():
        return []
    try:
        return _unique(read_table(path, columns, findings), key, findings)
    except SurveyError as error:
        findings.append(Finding("error", path.name, tr("{error} The table is left out.", error=error)))
        return []


def _unique(rows: List[Row], key: str, findings: List[Finding]) -> List[Row]:
    kept = {}
    for row in rows:
        name = row.values[key]
        if name in kept:
            findings.append(
                Finding("error", row.where, tr("{name} is already in the table; this row is left out.", name=name))
            )
        else:
            kept[name] = row
    return list(kept.values())


def _distance(row: Row, findings: List[Finding]) -> Optional[TapeDistance]:
    v = row.values
    start, end = (v["line_start_x_m"], v["line_start_y_m"]), (v["line_end_x_m"], v["line_end_y_m"])
    if np.hypot(*np.subtract(end, start)) < 0.1:
        findings.append(
            Finding("error", row.where, tr("the line's two points are less than 0.1 m apart; the row is left out."))
        )
        return None
    local = (v["local_x_m"], v["local_y_m"])
    return TapeDistance(v["distance_id"], v["area_id"], local, start, end, v["distance_m"], v["sigma_m"])
