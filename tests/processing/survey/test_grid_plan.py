"""Lines planned from a grid, and the files that belong to them."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.grid_plan import (
    AXIS_BY_AXIS,
    GridPlan,
    LineSet,
    assign_files,
    check_file,
    check_plan,
    check_together,
    count_sentence,
    line_files_in,
    plan_lines,
)
from inslab.processing.survey.model import ScanArea

AREA = ScanArea("A1", "Level 1", "top", 0.06, 1500.0)


def plan(**changes):
    sets = (LineSet("x", 0.1, 0.05), LineSet("y", 0.2))
    return replace(GridPlan(AREA, (0.8, 0.6), sets), **changes)


def test_lines_of_a_grid_by_hand():
    # 0.6 m wide, the first at 0.05 m, each 0.1 m: 0.05 ... 0.55, six lines; along y 0, 0.2 ... 0.8, five lines.
    lines = plan_lines(plan())
    assert [line.line_id for line in lines] == [f"x{n:02d}" for n in range(1, 7)] + [f"y{n:02d}" for n in range(1, 6)]
    assert (lines[0].start_m, lines[0].end_m) == ((0.0, 0.05), (0.8, 0.05))
    assert (lines[5].start_m, lines[5].end_m) == ((0.0, 0.55), (0.8, 0.55))
    assert (lines[-1].start_m, lines[-1].end_m) == ((0.8, 0.0), (0.8, 0.6))
    assert {line.length_m for line in lines if line.direction == "x"} == {0.8}


def test_every_second_line_walked_back_and_single_ones_turned():
    lines = plan_lines(plan(sets=(LineSet("x", 0.1, alternating=True, turned=frozenset({2, 3})),)))
    backwards = [line.number for line in lines if line.start_m[0] > line.end_m[0]]
    assert backwards == [3, 4, 6]  # 2, 4 and 6 are walked back; 2 was turned forth, 3 back


def test_order_of_files_with_two_dipole_axes():
    sets = (LineSet("x", 0.3, dipole_axes=("across", "along")),)
    by_line = [(line.number, line.dipole_axis) for line in plan_lines(plan(sets=sets))]
    by_axis = [(line.number, line.dipole_axis) for line in plan_lines(plan(sets=sets, order=AXIS_BY_AXIS))]
    assert by_line == [(1, "across"), (1, "along"), (2, "across"), (2, "along"), (3, "across"), (3, "along")]
    assert by_axis == [(1, "across"), (2, "across"), (3, "across"), (1, "along"), (2, "along"), (3, "along")]


def test_a_plan_that_cannot_be_is_told_in_sentences():
    area = replace(AREA, area_id="a/b", centre_frequency_mhz=5.0)
    said = check_plan(plan(area=area, size_m=(0.0, 1.0), sets=(LineSet("x", 0.0, dipole_axes=()),)))
    assert len(said) == 4
    assert all(sentence.endswith(".") for sentence in said)
    assert check_plan(plan()) == []
    (far,) = check_plan(plan(sets=(LineSet("x", 0.1, 0.05, count=8),)))  # the eighth would lie at 0.75 m
    assert "do not fit into 0.6 m" in far
    with pytest.raises(SurveyError, match=r"60001 lines"):
        plan_lines(plan(sets=(LineSet("x", 1e-5),)))


def test_files_come_in_natural_order_and_own_tables_are_none(tmp_path):
    for name in ("line10.sgy", "line2.SGY", "Line1.sgy", "scan_lines.csv", "photo.jpg", "text3.csv"):
        (tmp_path / name).write_bytes(b"x")
    assert [path.name for path in line_files_in(tmp_path)] == ["Line1.sgy", "line2.SGY", "line10.sgy", "text3.csv"]
    with pytest.raises(SurveyError, match="cannot be read"):
        line_files_in(tmp_path / "nowhere")


def test_missing_and_surplus_files_are_said():
    lines = plan_lines(plan())
    files = [f"f{number}.sgy" for number in range(9)]
    assigned = assign_files(lines, files)
    assert [line.file is None for line in assigned] == [False] * 9 + [True] * 2
    assert "11 lines" in count_sentence(lines, files)
    assert "9 files" in count_sentence(lines, files)
    assert count_sentence(lines, files + ["a", "b"]) == ""


@pytest.fixture
def recorded(tmp_path):
    """Files of the plan's lines with a trace each 10 mm, the third one cut short and the fourth with other settings."""
    lines = plan_lines(plan())
    files = []
    for number, line in enumerate(lines):
        traces = round(line.length_m / 0.01) + 1
        shape = (traces - 20 if number == 2 else traces, 100 if number == 3 else 128)
        files.append(tmp_path / f"{number}.sgy")
        write_segy(files[-1], np.random.default_rng(number).normal(size=shape).astype(np.float32), 0.05)
    return assign_files(lines, files)


def test_a_file_tells_the_spacing_of_its_traces(recorded):
    checks = [check_file(AREA, line) for line in recorded]
    assert not any(one.problem for one in checks)
    assert checks[0].trace_count == 81
    assert checks[0].sample_count == 128
    assert checks[0].spacing_m == pytest.approx(0.01)
    odd = check_together(checks)
    assert set(odd) == {2, 3}
    assert "13.33 mm" in odd[2]  # 0.8 m over 60 steps
    assert "settings differ from those of most files" in odd[3]


def test_a_file_that_cannot_be_used_is_a_sentence(recorded, tmp_path):
    empty = tmp_path / "empty.sgy"
    empty.write_bytes(b"")
    assert "empty" in check_file(AREA, replace(recorded[0], file=empty)).problem
    assert check_file(AREA, replace(recorded[0], file=None)).problem
    assert "not plausible for radar" in check_file(replace(AREA, centre_frequency_mhz=30000.0), recorded[0]).problem


def test_more_plans_that_cannot_be():
    assert check_plan(plan(sets=())) == ["Neither direction has lines."]
    still = plan(sets=(LineSet("x", 0.0, 0.1, count=3),))
    assert check_plan(still) == ["The spacing of the lines along x must be above zero."]


def test_files_of_which_none_can_be_used_are_not_compared(tmp_path):
    (line,) = plan_lines(plan(sets=(LineSet("x", 0.1, 0.3, count=1),)))
    (tmp_path / "bad.sgy").write_bytes(b"no radar")
    found = check_file(AREA, replace(line, file=tmp_path / "bad.sgy"))
    assert found.problem
    assert check_together([found, found]) == {}
