"""The three tables of a survey folder."""

import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey import tables

AREA_HEAD = "area_id,level,surface,antenna_separation_m,centre_frequency_mhz,scanned_on,scanned_by,note\n"
AREA = "A1,L1,top,0.06,1500,2031-03-11,crew 1,dry\n"
LINE_HEAD = "area_id,line_id,file,dipole_axis,start_x_m,start_y_m,end_x_m,end_y_m\n"
LINE = "A1,x00,lines/a.sgy,across,0,0,1,0\n"
POINT_HEAD = "area_id,point_id,local_x_m,local_y_m,site_x_m,site_y_m,sigma_m\n"
POINT = "A1,P1,0,0,112.4,48.75,0.003\n"


def read_areas(folder, content, encoding="utf-8"):
    (folder / tables.AREAS_FILE).write_bytes(content.encode(encoding))
    findings = []
    return tables.read_areas(folder, findings), findings


def read_lines(folder, content):
    (folder / tables.LINES_FILE).write_bytes(content.encode())
    findings = []
    return tables.read_lines(folder, findings), findings


def read_points(folder, content):
    (folder / tables.CONTROL_POINTS_FILE).write_bytes(content.encode())
    findings = []
    return tables.read_control_points(folder, findings), findings


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_area(tmp_path, encoding, line_end):
    content = AREA_HEAD + 'A1,Geschoß 2,Soffit,0.06,1500,2031-03-11,Zoë,"dry, ""swept"""\n'
    areas, findings = read_areas(tmp_path, content.replace("\n", line_end), encoding)
    assert findings == []
    area = areas["A1"]
    assert (area.level, area.surface, area.scanned_by, area.note) == ("Geschoß 2", "soffit", "Zoë", 'dry, "swept"')
    assert (area.antenna_separation_m, area.centre_frequency_mhz) == (0.06, 1500.0)
    assert area.extra == {}


def test_semicolons_decimal_commas_other_order_unknown_columns(tmp_path):
    content = (
        "Weather;Surface;level;area_id;antenna_separation_m;centre_frequency_mhz\nrain, cold;top;L1;A1;0,06;1.5e3\n"
    )
    areas, findings = read_areas(tmp_path, content)
    assert findings == []
    assert areas["A1"].antenna_separation_m == 0.06
    assert areas["A1"].centre_frequency_mhz == 1500.0
    assert areas["A1"].note == ""
    assert areas["A1"].extra == {"weather": "rain, cold"}


def test_decimal_comma_among_commas_is_refused(tmp_path):
    areas, (finding,) = read_areas(tmp_path, AREA_HEAD + 'A1,L1,top,"0,06",1500,,,\n')
    assert areas == {}
    assert "antenna_separation_m is '0,06', not a number" in finding.text


def test_blank_rows_and_short_rows(tmp_path):
    areas, findings = read_areas(tmp_path, "\n" + AREA_HEAD + "\n,,,,,,,\nA1,L1,top,0.06,1500\n")
    assert list(areas) == ["A1"]
    assert findings == []


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (",L1,top,0.06,1500,,,", "area_id is empty"),
        ("A1,,top,0.06,1500,,,", "level is empty"),
        ("A/1,L1,top,0.06,1500,,,", "'A/1' contains '/'"),
        ("..,L1,top,0.06,1500,,,", "'..' contains '.'"),
        ("Aux.2,L1,top,0.06,1500,,,", "'Aux.2' cannot be the name of a file on Windows"),
        ("A1,L1,floor,0.06,1500,,,", "surface is 'floor'; it must be one of top, soffit, wall"),
        ("A1,L1,top,60,1500,,,", "antenna_separation_m is 60; it must lie between 0 and 1 metres"),
        ("A1,L1,top,-0.06,1500,,,", "antenna_separation_m is -0.06"),
        ("A1,L1,top,nan,1500,,,", "antenna_separation_m is 'nan', not a number"),
        ("A1,L1,top,0.06,1.5,,,", "centre_frequency_mhz is 1.5; it must lie between 100 and 10000 MHz"),
        ("A1,L1,top,0.06,1_500,,,", "'1_500', not a number"),
        ("A1,L1,top,0.06,,,,", "centre_frequency_mhz is empty"),
        ("A1,L1,top,0.06,1500,,,dry, swept", "9 fields, but the header has 8"),
    ],
)
def test_area_row_left_out(tmp_path, row, words):
    areas, (finding,) = read_areas(tmp_path, AREA_HEAD + row + "\n" + AREA.replace("A1", "A2"))
    assert list(areas) == ["A2"]
    assert finding.severity == "error"
    assert finding.where == "scan_areas.csv row 2"
    assert words in finding.text


def test_area_twice_also_in_other_case(tmp_path):
    areas, findings = read_areas(tmp_path, AREA_HEAD + AREA + AREA + AREA.replace("A1", "a1"))
    assert list(areas) == ["A1"]
    assert [finding.where for finding in findings] == ["scan_areas.csv row 3", "scan_areas.csv row 4"]
    assert all("already" in finding.text for finding in findings)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (AREA_HEAD.replace("surface", "side") + AREA, "lacks the column surface; .* area_id, level, side"),
        (AREA_HEAD.replace("level,surface,", "") + AREA, "lacks the columns level, surface"),
        (AREA_HEAD.replace("note", "level") + AREA, "has the column level more than once"),
        ("", "is empty"),
        ("\n\n", "is empty"),
        (AREA_HEAD + 'A1,L1,top,0.06,1500,,,"never closed\n' + AREA, "row 3 is not valid CSV"),
    ],
)
def test_table_refused(tmp_path, content, words):
    with pytest.raises(SurveyError, match=words) as caught:
        read_areas(tmp_path, content)
    assert tables.AREAS_FILE in str(caught.value)


def test_table_in_another_encoding(tmp_path):
    with pytest.raises(SurveyError, match="not UTF-8"):
        read_areas(tmp_path, AREA_HEAD + AREA.replace("L1", "Geschoß"), "latin-1")


def test_table_missing(tmp_path):
    with pytest.raises(SurveyError, match=r"scan_areas\.csv is missing"):
        tables.read_areas(tmp_path, [])


def test_table_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(tables, "MAX_BYTES", 100)
    with pytest.raises(SurveyError, match="too large"):
        read_areas(tmp_path, AREA_HEAD + AREA)


def test_line(tmp_path):
    (row,), findings = read_lines(tmp_path, LINE_HEAD.replace("\n", ",wheel\n") + LINE.replace("\n", ",new\n"))
    assert findings == []
    assert row.where == "scan_lines.csv row 2"
    assert row.values["file"] == "lines/a.sgy"
    assert [row.values[name] for name in ("start_x_m", "start_y_m", "end_x_m", "end_y_m")] == [0.0, 0.0, 1.0, 0.0]
    assert row.extra == {"wheel": "new"}


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("A1,x00,,across,0,0,1,0", "file is empty"),
        ("A1,x00,a.sgy,crosswise,0,0,1,0", "dipole_axis is 'crosswise'; it must be one of across, along"),
        ("A1,x00,a.sgy,across,0,0,1000000,0", "end_x_m is 1000000; it must lie between -1000 and 1000 metres"),
        ("A1,x00,a.sgy,across,0,0,one,0", "end_x_m is 'one', not a number"),
    ],
)
def test_line_row_left_out(tmp_path, row, words):
    rows, (finding,) = read_lines(tmp_path, LINE_HEAD + row + "\n")
    assert rows == []
    assert words in finding.text


def test_row_numbers_count_lines_of_the_file_also_after_quoted_line_ends(tmp_path):
    areas, (finding,) = read_areas(
        tmp_path, AREA_HEAD + AREA.replace("dry", '"two\nlines"') + "A2,L1,sky,0.06,1500,,,\n"
    )
    assert areas["A1"].note == "two\nlines"
    assert finding.where == "scan_areas.csv row 4"


def test_control_point(tmp_path):
    ((where, point),), findings = read_points(tmp_path, POINT_HEAD + POINT)
    assert findings == []
    assert where == "control_points.csv row 2"
    assert (point.area_id, point.point_id, point.local_m, point.site_m, point.sigma_m) == (
        "A1",
        "P1",
        (0.0, 0.0),
        (112.4, 48.75),
        0.003,
    )


def test_control_point_twice_and_without_sigma(tmp_path):
    points, findings = read_points(tmp_path, POINT_HEAD + POINT + POINT + "A1,P2,1,0,113.4,48.8,0\n")
    assert len(points) == 1
    assert {finding.where: finding.severity for finding in findings} == {
        "control_points.csv row 3": "error",
        "control_points.csv row 4": "error",
    }


def test_control_points_missing_is_a_warning(tmp_path):
    findings = []
    assert tables.read_control_points(tmp_path, findings) == []
    assert findings[0].severity == "warning"
    assert "no area can be positioned" in findings[0].text


def test_control_points_without_a_column_do_not_stop_the_survey(tmp_path):
    points, (finding,) = read_points(tmp_path, POINT_HEAD.replace("sigma_m", "sigma") + POINT)
    assert points == []
    assert finding.severity == "error"
    assert "lacks the column sigma_m" in finding.text
