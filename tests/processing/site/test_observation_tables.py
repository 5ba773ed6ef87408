"""The optional tables: what is read, and what is said of rows that cannot be used."""

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.site.observation_tables import read_observations

TIES = "tie_id,area_id_a,local_x_a_m,local_y_a_m,area_id_b,local_x_b_m,local_y_b_m,sigma_m"
DIRECTIONS = "direction_id,area_id,local_direction_deg,site_direction_deg,sigma_deg"
DISTANCES = (
    "distance_id,area_id,local_x_m,local_y_m,line_start_x_m,line_start_y_m,line_end_x_m,line_end_y_m,distance_m,sigma_m"
)


def write(path, *rows):
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_folder_without_them_is_fine(tmp_path):
    findings = []
    found = read_observations(tmp_path, findings)
    assert (found.ties, found.directions, found.distances, findings) == ((), (), (), [])


def test_what_the_tables_hold(tmp_path):
    write(tmp_path / "ties.csv", TIES, "core 1,A,0.1,0.2,B,0.3,0.4,0.002")
    write(tmp_path / "directions.csv", DIRECTIONS, "wall,A,90,-45,0.2")
    write(tmp_path / "tape_distances.csv", DISTANCES, "d1,B,0,0,10,20,10,30,-1.25,0.003")
    findings = []
    found = read_observations(tmp_path, findings)
    assert not findings
    (tie,) = found.ties
    assert (tie.area_ids, tie.local_m, tie.sigma_m) == (("A", "B"), ((0.1, 0.2), (0.3, 0.4)), 0.002)
    (known,) = found.directions
    assert np.degrees([known.local_rad, known.site_rad, known.sigma_rad]) == pytest.approx([90, -45, 0.2])
    (taped,) = found.distances
    assert (taped.line_start_m, taped.line_end_m, taped.distance_m) == ((10, 20), (10, 30), -1.25)


def test_another_table_of_ties_replaces_the_folder_s(tmp_path):
    write(tmp_path / "ties.csv", TIES, "T1,A,0,0,B,0,0,0.002")
    other = write(tmp_path / "other.csv", TIES, "T2,A,0,0,B,0,0,0.002")
    assert [tie.tie_id for tie in read_observations(tmp_path, [], other).ties] == ["T2"]
    with pytest.raises(SurveyError, match="lacks the column"):
        read_observations(tmp_path, [], write(tmp_path / "wrong.csv", "a,b", "1,2"))


def test_rows_that_cannot_be_used_are_named(tmp_path):
    write(tmp_path / "ties.csv", TIES, "T1,A,0,0,B,0,0,0.002", "T1,A,0,0,B,0,0,0.002", "T2,A,0,0,B,0,0,0")
    write(tmp_path / "directions.csv", "direction_id,area_id", "x,A")
    write(tmp_path / "tape_distances.csv", DISTANCES, "d1,B,0,0,10,20,10,20,1,0.003")
    findings = []
    found = read_observations(tmp_path, findings)
    assert (len(found.ties), found.directions, found.distances) == (1, (), ())
    texts = [f"{one.where}: {one.text}" for one in findings]
    assert texts[0].startswith("ties.csv row 4: sigma_m is 0; it must lie between")
    assert "ties.csv row 3: T1 is already in the table; this row is left out." in texts
    assert any(text.startswith("directions.csv: directions.csv lacks the columns") for text in texts)
    assert any("are less than 0.1 m apart" in text for text in texts)
