"""Tables written from a grid read back as they were meant, and nothing that was there is lost."""

import csv
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from inslab.processing.common.errors import Cancelled, ProcessingError, SurveyError
from inslab.processing.common.monitor import Monitor
from inslab.processing.store import publish as publishing
from inslab.processing.store.survey_setup import add_area, known_area_ids
from inslab.processing.survey import tables
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.grid_plan import GridPlan, LineSet, assign_files, plan_lines
from inslab.processing.survey.model import ControlPoint, ScanArea
from inslab.processing.survey.read import read_survey

AREA = ScanArea("A1", "Level 1", "top", 0.06, 1500.0, "2031-05-04", "crew 1", 'a "quoted", note')
POINTS = [
    ControlPoint("A1", f"P{n}", (x, y), (10.0 + x, 20.0 + y), 0.003) for n, (x, y) in enumerate(((0, 0), (0.4, 0)))
]


def recorded(folder, count=8):
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(1, count + 1):
        noise = np.random.default_rng(number).normal(size=(41, 128)).astype(np.float32)
        write_segy(folder / f"scan{number}.sgy", noise, 0.05)
    return sorted(folder.glob("*.sgy"), key=lambda path: int(path.stem[4:]))


def planned(files, area=AREA):
    sets = (LineSet("x", 0.1, 0.05, alternating=True), LineSet("y", 0.1, 0.05))
    return assign_files(plan_lines(GridPlan(area, (0.4, 0.4), sets)), files)


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_survey_is_read_back_as_it_was_planned(tmp_path):
    lines = planned(recorded(tmp_path / "card"))
    added = add_area(tmp_path / "survey", AREA, lines, POINTS)
    assert (added.lines, added.control_points, added.copied) == (8, 2, 8)
    survey = read_survey(tmp_path / "survey")
    assert not [found for found in survey.findings if found.severity == "error"]
    (area,) = survey.areas
    assert replace(area, lines=(), control_points=()) == AREA
    assert list(area.control_points) == POINTS
    assert [(one.line_id, one.dipole_axis, one.start_m, one.end_m) for one in area.lines] == [
        (one.line_id, one.dipole_axis, one.start_m, one.end_m) for one in lines
    ]
    assert [one.path.name for one in area.lines] == [one.file.name for one in lines]
    assert [one.path.read_bytes() for one in area.lines] == [one.file.read_bytes() for one in lines]


def test_files_in_the_survey_folder_stay_where_they_are(tmp_path):
    files = recorded(tmp_path / "survey" / "radar" / "day 1")
    assert add_area(tmp_path / "survey", AREA, planned(files)).copied == 0
    assert read_survey(tmp_path / "survey").areas[0].lines[0].path == files[0].resolve()


def test_a_further_area_leaves_all_that_is_there(survey_of_a_surveyor, tmp_path):
    before = contents(survey_of_a_surveyor)
    rows = {
        name: list(csv.reader(before[Path(name)].decode("utf-8-sig").splitlines(), delimiter=";")) for name in TABLES
    }
    area = replace(AREA, area_id="A2", extra={"instrument": "wheel 7"})
    points = [replace(point, area_id="A2", local_sigma_m=0.002) for point in POINTS]
    add_area(survey_of_a_surveyor, area, planned(recorded(tmp_path / "card"), area), points)
    after = contents(survey_of_a_surveyor)
    assert all(after[name] == before[name] for name in before if name.name not in TABLES)
    for name in TABLES:
        text = after[Path(name)]
        assert text.startswith(b"\xef\xbb\xbf") == before[Path(name)].startswith(b"\xef\xbb\xbf")
        now = list(csv.reader(text.decode("utf-8-sig").splitlines(), delimiter=";"))
        width = len(rows[name][0])
        assert [row[:width] for row in now[: len(rows[name])]] == rows[name]
    survey = read_survey(survey_of_a_surveyor)
    assert [one.area_id for one in survey.areas] == ["A1", "A2"]
    assert survey.areas[0].extra == {"weather": "Regen, 4 °C", "instrument": ""}
    assert survey.areas[1].extra == {"weather": "", "instrument": "wheel 7"}
    assert [point.local_sigma_m for point in survey.areas[1].control_points] == [0.002, 0.002]


TABLES = ("scan_areas.csv", "scan_lines.csv", "control_points.csv")


@pytest.fixture
def survey_of_a_surveyor(tmp_path):
    """One area, in tables as a spreadsheet with a decimal comma writes them, columns of its own among them."""
    folder = tmp_path / "survey"
    recorded(folder / "lines", 2)
    texts = {
        "scan_areas.csv": "area_id;weather;level;surface;antenna_separation_m;centre_frequency_mhz\n"
        "A1;Regen, 4 °C;L1;top;0,06;1500\n",
        "scan_lines.csv": "line_id;area_id;file;dipole_axis;start_x_m;start_y_m;end_x_m;end_y_m;walked by\n"
        'one;A1;lines\\scan1.sgy;across;0;0;0,4;0;"Ada; Bo"\ntwo;A1;lines/scan2.sgy;across;0;0,1;0,4;0,1;\n',
        "control_points.csv": "area_id;point_id;local_x_m;local_y_m;site_x_m;site_y_m;sigma_m\nA1;P1;0;0;10,5;20;0,003\n",
    }
    for name, text in texts.items():
        (folder / name).write_bytes(text.encode("utf-8-sig" if name == "scan_areas.csv" else "utf-8"))
    return folder


def test_what_cannot_be_added_changes_nothing(survey_of_a_surveyor, tmp_path, monkeypatch):
    files = recorded(tmp_path / "card")
    other = replace(AREA, area_id="A2")
    before = contents(survey_of_a_surveyor)

    def refused(error, words, area=other, lines=None, **more):
        with pytest.raises(error, match=words):
            add_area(survey_of_a_surveyor, area, planned(files, other) if lines is None else lines, **more)
        assert contents(survey_of_a_surveyor) == before

    refused(SurveyError, "already", replace(AREA, area_id="a1"))
    refused(SurveyError, "surface", replace(other, surface="floor"))
    refused(SurveyError, "no line with a file", lines=[])
    refused(SurveyError, "P1.*already", control_points=[replace(POINTS[0], point_id="P1")])
    refused(SurveyError, "sigma_m", control_points=[replace(POINTS[0], area_id="A2", sigma_m=0.0)])
    twice = [replace(line, file=files[0]) for line in planned(files, other)[:2]]
    refused(SurveyError, "another name", lines=twice)
    gone = [replace(line, file=tmp_path / "gone.sgy") for line in planned(files, other)[:1]]
    refused(ProcessingError, "cannot be copied", lines=gone)
    refused(Cancelled, "cancelled", monitor=Monitor(cancelled=lambda: True))

    move, count = publishing._move, iter(range(100))

    def fail_at_third(*arguments):
        if next(count) == 4:
            raise PermissionError(13, "held open", str(arguments[1]))
        move(*arguments)

    monkeypatch.setattr(publishing, "_move", fail_at_third)
    refused(ProcessingError, "held open")


def test_a_table_that_is_no_table_is_left_alone(survey_of_a_surveyor, tmp_path):
    path = survey_of_a_surveyor / "scan_lines.csv"
    path.write_text("line_id;file\none;lines/scan1.sgy\n", encoding="utf-8")
    with pytest.raises(SurveyError, match="lacks the column area_id"):
        add_area(survey_of_a_surveyor, replace(AREA, area_id="A2"), planned(recorded(tmp_path / "card")))
    path.write_text('line_id;file\n"one;lines/scan1.sgy\n', encoding="utf-8")
    with pytest.raises(SurveyError, match="not valid CSV"):
        add_area(survey_of_a_surveyor, replace(AREA, area_id="A2"), planned(recorded(tmp_path / "card")))


LENGTHS = st.floats(0.01, 900.0).map(lambda value: round(value, 6))
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12).filter(
    lambda text: not set(text) & set('/\\:*?"<>|,;') and not text.startswith(".")
)
NOTES = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Zl", "Zp")), max_size=20).map(str.strip)


@settings(max_examples=60, deadline=None, derandomize=True, database=None, phases=(Phase.generate,))
@given(data=st.data())
def test_any_area_is_read_back_identically(data):
    """Every cell, of two areas one after the other, comes back through the readers as it went in."""
    ids = data.draw(st.lists(WORDS, min_size=2, max_size=2, unique_by=str.lower))
    folder = Path(tempfile.mkdtemp())
    try:
        (folder / "lines").mkdir()
        for area_id in ids:
            area = ScanArea(
                area_id,
                data.draw(WORDS),
                data.draw(st.sampled_from(("top", "soffit", "wall"))),
                data.draw(st.floats(0.0, 1.0)),
                data.draw(st.floats(100.0, 10000.0)),
                note=data.draw(NOTES),
            )
            size = (data.draw(LENGTHS), data.draw(LENGTHS))
            sets = [
                LineSet(
                    direction,
                    round(width / 4, 6),
                    round(data.draw(st.floats(0.0, 0.5)) * width, 6),
                    data.draw(st.sampled_from((("across",), ("along",), ("across", "along")))),
                    data.draw(st.booleans()),
                    count=data.draw(st.integers(1, 3)),
                )
                for direction, width in (("x", size[1]), ("y", size[0]))
            ]
            lines = plan_lines(GridPlan(area, size, tuple(sets)))
            names = [folder / "lines" / f"{area_id}-{number}.sgy" for number in range(len(lines))]
            for name in names:
                name.write_bytes(b"content")
            lines = assign_files(lines, names)
            point = ControlPoint(
                area_id,
                data.draw(WORDS),
                (data.draw(st.floats(-1000, 1000)), data.draw(st.floats(-1000, 1000))),
                (data.draw(st.floats(-1e8, 1e8)), data.draw(st.floats(-1e8, 1e8))),
                data.draw(st.floats(1e-5, 10.0)),
            )
            add_area(folder, area, lines, [point])
            findings = []
            assert tables.read_areas(folder, findings)[area_id] == area
            rows = [row.values for row in tables.read_lines(folder, findings) if row.values["area_id"] == area_id]
            assert [
                (
                    row["line_id"],
                    row["dipole_axis"],
                    folder / row["file"],
                    row["start_x_m"],
                    row["start_y_m"],
                    row["end_x_m"],
                )
                for row in rows
            ] == [(one.line_id, one.dipole_axis, one.file, *one.start_m, one.end_m[0]) for one in lines]
            assert tables.read_control_points(folder, findings)[-1][1] == point
            assert findings == []
        assert known_area_ids(folder) == ids
    finally:
        shutil.rmtree(folder)
