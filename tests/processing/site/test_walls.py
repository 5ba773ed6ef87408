"""Walls: one elevation each, and their lines in plan."""

import numpy as np
import pytest

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.rows import frame_of
from inslab.processing.site.walls import WallLine, read_walls
from inslab.processing.survey.model import ScanArea
from inslab.processing.survey.tables import read_areas


def areas_of(folder, rows):
    header = "area_id,level,surface,wall,antenna_separation_m,centre_frequency_mhz"
    (folder / "scan_areas.csv").write_text("\n".join([header, *rows]), encoding="utf-8")
    findings = []
    areas = read_areas(folder, findings)
    assert not findings
    return list(areas.values())


def test_a_line_in_plan():
    """A wall of 5 m on the diagonal of 3 by 4."""
    wall = WallLine("L1", "north", (10.0, 20.0), (13.0, 24.0))
    assert wall.to_plan([0.0, 2.5, 5.0]) == pytest.approx(np.array([(10, 20), (11.5, 22), (13, 24)]))


def test_each_named_wall_is_an_elevation_of_its_own(tmp_path):
    areas = areas_of(
        tmp_path,
        ["W1,L1,wall,north,0.06,1500", "W2,L1,wall,south,0.06,1500", "A1,L1,top,,0.06,1500", "W3,L1,wall,,0.06,1500"],
    )
    assert [area.level for area in areas] == ["L1 north", "L1 south", "L1", "L1"]
    assert len({frame_of(area) for area in areas}) == 4
    assert areas[0].extra["plan_level"] == "L1"
    (tmp_path / "walls.csv").write_text(
        "level,wall,start_x_m,start_y_m,end_x_m,end_y_m\nL1,north,0,10,8,10\nL1,short,1,1,1,1\nL1,north,0,0,1,0\n",
        encoding="utf-8",
    )
    findings = []
    (wall,) = read_walls(tmp_path, areas, findings)
    assert (wall.elevation, wall.end_m) == ("L1 north", (8.0, 10.0))
    assert [found.text.split(";")[0] for found in findings] == [
        "the wall has no length",
        "wall north is already in the table",
        "L1 south has no line in walls.csv, so it is not drawn in plan.",
    ]


def test_walls_without_a_name_share_an_elevation_and_say_so(tmp_path):
    areas = [ScanArea(name, "L2", "wall", 0.06, 1500.0) for name in ("W1", "W2")]
    findings = []
    assert read_walls(tmp_path, areas, findings) == ()
    assert "areas W1, W2 of level L2 share one elevation" in findings[0].text
    assert not fit_areas(areas).fits["W1"].is_fitted
