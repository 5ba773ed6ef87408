"""A whole survey folder: what is wrong is named, the rest still runs."""

import csv
import re
import struct
from pathlib import Path

import numpy as np
import pytest

from inslab.processing.common.errors import Cancelled, SurveyError
from inslab.processing.common.monitor import Monitor
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.read import read_survey

LINES = [(f"x{n:02d}", axis, n * 0.1) for n in range(3) for axis in ("across", "along")]


def write_table(path, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)


class Folder:
    """A survey of two areas with three passes and both dipole axes each, to be spoiled by a test."""

    def __init__(self, path):
        self.path = path
        (path / "lines").mkdir(parents=True)
        self.areas = [
            [
                "area_id",
                "level",
                "surface",
                "antenna_separation_m",
                "centre_frequency_mhz",
                "scanned_on",
                "scanned_by",
                "note",
            ]
        ]
        self.lines = [["area_id", "line_id", "file", "dipole_axis", "start_x_m", "start_y_m", "end_x_m", "end_y_m"]]
        self.points = [["area_id", "point_id", "local_x_m", "local_y_m", "site_x_m", "site_y_m", "sigma_m"]]
        random = np.random.default_rng(0)
        for area_id in ("A1", "A2"):
            self.areas.append([area_id, "L1", "top", 0.06, 1500, "2031-01-01", "a test", ""])
            for number, local in enumerate(((0, 0), (1, 0), (1, 1))):
                self.points.append([area_id, f"P{number}", *local, 10 + local[0], 20 + local[1], 0.003])
            for line_id, axis, y in LINES:
                file = f"lines/{area_id}_{line_id}_{axis}.sgy"
                write_segy(path / file, random.normal(0, 100, (51, 128)), 0.05)
                self.lines.append([area_id, line_id, file, axis, 0, y, 1, y])

    def read(self, **options):
        for name, rows in (("scan_areas", self.areas), ("scan_lines", self.lines), ("control_points", self.points)):
            write_table(self.path / f"{name}.csv", rows)
        return read_survey(self.path, **options)

    def file(self, row) -> Path:
        return self.path / self.lines[row][2]

    def rewrite(self, row, change):
        """Write a line's file again with traces changed by a function."""
        traces = np.random.default_rng(row).normal(0, 100, (51, 128))
        write_segy(self.file(row), change(traces), 0.05)


@pytest.fixture
def folder(tmp_path):
    return Folder(tmp_path / "Prüfung 床")


def test_sound_survey(folder):
    survey = folder.read()
    assert survey.findings == ()
    assert [area.area_id for area in survey.areas] == ["A1", "A2"]
    assert survey.line_count == 12
    line = survey.areas[1].lines[3]
    assert (line.area_id, line.name, line.trace_count, line.sample_count) == ("A2", "x01 along", 51, 128)
    assert line.sample_interval_ns == pytest.approx(0.05)
    np.testing.assert_allclose(line.trace_positions_m()[[0, 25, 50]], [[0, 0.1], [0.5, 0.1], [1, 0.1]], atol=1e-12)
    assert line.read_traces().shape == (51, 128)
    assert len(survey.areas[0].control_points) == 3


def test_survey_of_the_shared_fixture_is_sound(small_survey):
    survey = read_survey(small_survey)
    assert survey.findings == ()
    assert survey.line_count == 64


def test_same_input_same_output(folder):
    assert folder.read() == folder.read()


def put_nan(folder):
    """Sample 61 of trace 6 of the first line becomes NaN; the writer itself refuses it."""
    raw = bytearray(folder.file(1).read_bytes())
    struct.pack_into(">f", raw, 3600 + 5 * (240 + 4 * 128) + 240 + 4 * 60, float("nan"))
    folder.file(1).write_bytes(raw)


def set_cell(row, column, value):
    def change(folder):
        folder.lines[row][column] = value

    return change


def twice(folder):
    folder.lines.insert(2, [*folder.lines[1][:2], "lines/other.sgy", *folder.lines[1][3:]])
    write_segy(folder.path / "lines" / "other.sgy", np.random.default_rng(9).normal(0, 1, (51, 128)), 0.05)


BAD_LINES = {
    "missing file": (lambda folder: folder.file(1).unlink(), "lines/A1_x00_across.sgy is missing"),
    "empty file": (lambda folder: folder.file(1).write_bytes(b""), "A1_x00_across.sgy is empty"),
    "truncated": (lambda folder: folder.file(1).write_bytes(folder.file(1).read_bytes()[:-5]), "is truncated"),
    "rubbish": (lambda folder: folder.file(1).write_bytes(b"\xa7" * 9000), "is not SEG-Y, or damaged"),
    "NaN": (put_nan, "lines/A1_x00_across.sgy: 1 sample is not a finite number .* sample 61 of trace 6"),
    "all dead": (lambda folder: folder.rewrite(1, np.zeros_like), "every trace is dead"),
    "unknown area": (set_cell(1, 0, "A9"), "area A9 is not among the usable rows of scan_areas.csv"),
    "zero length": (set_cell(1, 6, 0), "start and end are the same point"),
    "length absurd": (set_cell(1, 6, 900), "51 traces for a line of 900 m"),
    "out of the folder": (set_cell(1, 2, "../A1_x00_across.sgy"), "outside the survey folder"),
    "absolute": (set_cell(1, 2, f"{Path.cwd().anchor}line.sgy"), "outside the survey folder"),
    "the folder itself": (set_cell(1, 2, "."), "outside the survey folder"),
    "a folder": (set_cell(1, 2, "lines"), "not a plain file"),
    "no file name": (set_cell(1, 2, "lines/" + "a" * 5000), "cannot be the name of a file|is missing"),
    "file of another line": (set_cell(2, 2, "lines/A1_x00_across.sgy"), "is already the file of scan_lines.csv row 2"),
    "duplicated line": (twice, "is already in the table"),
    "absurd interval": (
        lambda folder: write_segy(folder.file(1), np.ones((51, 128)), 50.0),
        "50 ns was read from bytes 3273-3280 .* overrides the file",
    ),
}


@pytest.mark.parametrize(("spoil", "words"), BAD_LINES.values(), ids=BAD_LINES.keys())
def test_one_bad_line_is_named_and_left_out(folder, spoil, words):
    spoil(folder)
    survey = folder.read()
    assert survey.line_count == len(folder.lines) - 2  # without the header and the bad row
    (finding,) = [found for found in survey.findings if found.severity == "error"]
    assert finding.where.startswith("scan_lines.csv row ")
    assert "x00" in finding.where
    assert finding.text.endswith(("The line is left out.", "The row is left out."))
    assert re.search(words, finding.text), finding.text


def test_a_bad_area_is_told_once_for_all_its_lines_and_points(folder):
    for row in folder.lines[1:6]:
        row[0] = "A9"
    survey = folder.read()
    errors = [found for found in survey.findings if found.severity == "error"]
    assert [found.where for found in errors if "A9" in found.text] == ["scan_lines.csv row 2 (A9 x00 across)"]
    assert "This row and 4 more of that area are left out." in errors[0].text
    assert survey.line_count == len(folder.lines) - 6


def test_link_out_of_the_folder(folder, tmp_path):
    outside = tmp_path / "outside.sgy"
    folder.file(1).rename(outside)
    try:
        folder.file(1).symlink_to(outside)
    except OSError:
        pytest.skip("this system lets no one make links")
    survey = folder.read()
    assert survey.line_count == 11
    assert "outside the survey folder" in survey.findings[0].text


def test_backslashes_in_file_names_of_tables_from_windows(folder):
    for row in folder.lines[1:]:
        row[2] = row[2].replace("/", "\\")
    assert folder.read().findings == ()


def test_corrupt_file_missing_file_and_unknown_area_at_once(folder):
    folder.file(1).write_bytes(b"\xa7" * 9000)
    folder.file(2).unlink()
    folder.lines[3][0] = "A9"
    survey = folder.read()
    assert survey.line_count == 9
    texts = [finding.text for finding in survey.findings if finding.severity == "error"]
    assert len(texts) == 3
    assert "A1_x00_across.sgy is not SEG-Y" in texts[0]
    assert "A1_x00_along.sgy is missing" in texts[1]
    assert "area A9" in texts[2]


def test_interval_override_makes_an_absurd_one_usable(folder):
    for row in range(1, len(folder.lines)):
        write_segy(folder.file(row), np.random.default_rng(row).normal(0, 1, (51, 128)), 50.0)
    with pytest.raises(
        SurveyError, match=r"no usable line \(14 findings\); the first error: .*not plausible for radar"
    ):
        folder.read()
    survey = folder.read(sample_interval_ns=0.05)
    assert survey.findings == ()
    assert {line.sample_interval_ns for area in survey.areas for line in area.lines} == {0.05}


@pytest.mark.parametrize("interval", [0.0, -1.0, float("nan"), float("inf")])
def test_override_must_be_above_zero(folder, interval):
    with pytest.raises(SurveyError, match="above zero"):
        folder.read(sample_interval_ns=interval)


def test_positions_of_the_file_are_used_where_they_are_local(folder):
    measured = np.column_stack([np.linspace(0, 1, 51) ** 1.1, np.zeros(51)])
    traces = np.random.default_rng(1).normal(0, 1, (51, 128))
    write_segy(folder.file(1), traces, 0.05, positions_m=measured)
    write_segy(folder.file(2), traces, 0.05, positions_m=measured + np.array([5000.0, 0.0]))
    survey = folder.read()
    local, foreign = survey.areas[0].lines[:2]
    np.testing.assert_allclose(local.trace_positions_m(), measured, atol=1e-4)
    np.testing.assert_allclose(foreign.trace_positions_m()[:, 0], np.linspace(0, 1, 51), atol=1e-12)
    (finding,) = survey.findings
    assert finding.severity == "warning"
    assert "5000 m from the table's start" in finding.text


def test_warnings_keep_the_line(folder):
    folder.rewrite(1, lambda traces: traces * (np.arange(51) != 5)[:, None])
    folder.rewrite(2, lambda traces: traces[:50])
    survey = folder.read()
    assert survey.line_count == 12
    assert [finding.severity for finding in survey.findings] == ["warning", "warning"]
    assert "1 of 51 traces is dead" in survey.findings[0].text
    assert "50 traces, but x00 across, the same pass, has 51" in survey.findings[1].text


def test_text_lines_beside_segy(folder):
    traces = np.random.default_rng(1).normal(0, 100, (51, 128)).round(2)
    folder.lines[1][2] = "lines/a.csv"
    np.savetxt(folder.file(1), traces, delimiter=";", header="sample_interval_ns: 0.05\nrows: traces")
    survey = folder.read()
    assert survey.findings == ()
    np.testing.assert_allclose(survey.areas[0].lines[0].read_traces(), traces, rtol=1e-6)


def test_a_line_on_its_own_is_an_area_of_one_line(folder):
    folder.areas, folder.lines, folder.points = folder.areas[:2], folder.lines[:2], folder.points[:1]
    survey = folder.read()
    assert survey.line_count == 1
    assert {(finding.severity, finding.where) for finding in survey.findings} == {
        ("warning", "area A1"),  # without control points
        ("note", "area A1"),  # a single line
    }


def test_area_without_usable_line_is_left_out(folder):
    folder.lines = folder.lines[:7]
    survey = folder.read()
    assert [area.area_id for area in survey.areas] == ["A1"]
    assert [(finding.severity, finding.where) for finding in survey.findings] == [("error", "area A2")]


def test_control_points_of_unknown_areas_and_too_few(folder):
    folder.points = [*folder.points[:5], ["A9", "P1", 0, 0, 1, 1, 0.003]]
    survey = folder.read()
    assert len(survey.areas[1].control_points) == 1
    assert [finding.where for finding in survey.findings] == ["control_points.csv row 6", "area A2"]
    assert "area A9" in survey.findings[0].text
    assert "not positioned" in survey.findings[1].text


def test_control_points_missing(folder):
    folder.read()
    (folder.path / "control_points.csv").unlink()
    survey = read_survey(folder.path)
    assert survey.line_count == 12
    assert survey.findings[0].where == "control_points.csv"
    assert {finding.severity for finding in survey.findings} == {"warning"}


@pytest.mark.parametrize("table", ["scan_areas.csv", "scan_lines.csv"])
def test_table_missing_stops_with_its_name(folder, table):
    folder.read()
    (folder.path / table).unlink()
    with pytest.raises(SurveyError, match=table):
        read_survey(folder.path)


def test_wrong_column_stops_with_its_name(folder):
    folder.lines[0][3] = "dipole"
    with pytest.raises(SurveyError, match=r"scan_lines\.csv lacks the column dipole_axis"):
        folder.read()


@pytest.mark.parametrize(("table", "name"), [("areas", "scan_areas"), ("lines", "scan_lines")])
def test_no_rows(folder, table, name):
    """The table without rows is named, not the rows of others that follow from it."""
    setattr(folder, table, getattr(folder, table)[:1])
    with pytest.raises(SurveyError, match=rf"^{name}\.csv has no rows; add one for each"):
        folder.read()


def test_no_folder(tmp_path):
    with pytest.raises(SurveyError, match="does not exist"):
        read_survey(tmp_path / "nowhere")


def test_monitor_hears_of_progress_and_warnings_and_can_stop(folder):
    folder.file(1).unlink()
    progress, warnings = [], []
    survey = folder.read(monitor=Monitor(progress=progress.append, warn=warnings.append))
    assert progress == sorted(progress)
    assert progress[-1] == 1.0
    assert len(warnings) == len(survey.findings) == 1
    with pytest.raises(Cancelled):
        folder.read(monitor=Monitor(cancelled=lambda: len(progress) > 0))
