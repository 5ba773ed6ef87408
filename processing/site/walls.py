"""Where walls stand in plan, so that what was scanned on a wall's elevation can be found on the floor.

```
walls.csv   level,wall,start_x_m,start_y_m,end_x_m,end_y_m
```

An elevation's x counts along the wall from its start, its y upwards from the floor.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import List, Sequence, Tuple

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr
from ..common.vocabulary.surfaces import is_elevation
from ..survey.model import Finding, ScanArea
from ..survey.tables import Name, Number, read_table

WALLS_FILE = "walls.csv"
_SITE = Number(-1e8, 1e8, "metres")
COLUMNS = {"level": Name(), "wall": Name(), "start_x_m": _SITE, "start_y_m": _SITE, "end_x_m": _SITE, "end_y_m": _SITE}
SHORTEST_M = 0.05


@dataclass(frozen=True)
class WallLine:
    """The line of one wall in plan, site metres."""

    level: str
    wall: str
    start_m: Tuple[float, float]
    end_m: Tuple[float, float]

    @property
    def elevation(self) -> str:
        """Level name of the areas scanned on this wall."""
        return f"{self.level} {self.wall}"

    def to_plan(self, along_m) -> np.ndarray:
        """Plan position of distances from the wall's start, metres, shape (n, 2)."""
        along = np.subtract(self.end_m, self.start_m)
        return np.asarray(self.start_m) + np.outer(along_m, along / np.hypot(*along))


def read_walls(folder, areas: Sequence[ScanArea], findings: List[Finding]) -> Tuple[WallLine, ...]:
    """The walls of a survey folder; what cannot be used, and walls that areas need and the table lacks, become findings."""
    path = Path(folder) / WALLS_FILE
    walls = {}
    if path.exists():
        try:
            for row in read_table(path, COLUMNS, findings):
                v = row.values
                line = WallLine(v["level"], v["wall"], (v["start_x_m"], v["start_y_m"]), (v["end_x_m"], v["end_y_m"]))
                if np.hypot(*np.subtract(line.end_m, line.start_m)) < SHORTEST_M:
                    findings.append(Finding("error", row.where, tr("the wall has no length; the row is left out.")))
                elif line.elevation in walls:
                    findings.append(
                        Finding(
                            "error",
                            row.where,
                            tr("wall {wall} is already in the table; this row is left out.", wall=line.wall),
                        )
                    )
                else:
                    walls[line.elevation] = line
        except SurveyError as error:
            findings.append(Finding("error", path.name, tr("{error} The table is left out.", error=error)))
    findings += _missing(areas, walls)
    return tuple(walls.values())


def _missing(areas: Sequence[ScanArea], walls) -> List[Finding]:
    unnamed = [area for area in areas if is_elevation(area.surface) and not area.extra.get("wall")]
    out = []
    for level in dict.fromkeys(area.level for area in unnamed):
        own = [area.area_id for area in unnamed if area.level == level]
        if len(own) > 1:
            text = tr(
                "areas {own} of level {level} share one elevation; if they are on different walls, name the "
                "walls in the column wall of scan_areas.csv.",
                own=", ".join(own),
                level=level,
            )
            out.append(Finding("warning", "walls", text))
    named = [area for area in areas if is_elevation(area.surface) and area.extra.get("wall")]
    for elevation in dict.fromkeys(area.level for area in named if area.level not in walls):
        text = tr(
            "{elevation} has no line in {walls_file}, so it is not drawn in plan.",
            elevation=elevation,
            walls_file=WALLS_FILE,
        )
        out.append(Finding("note", "walls", text))
    return out
