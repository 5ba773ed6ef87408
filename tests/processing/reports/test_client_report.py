"""What the client's report says, against the survey that it was written from."""

import json
import re

import grounds
import numpy as np
import pytest

from inslab.processing.common import cautions
from inslab.processing.common.errors import SurveyError
from inslab.processing.common.words import per_cent
from inslab.processing.radar.model import WaveSpeed
from inslab.processing.reports.content import MapSheet, Section, Table
from inslab.processing.reports.items import depth_words
from inslab.processing.reports.page import paper_html
from inslab.processing.reports.summary import Cover
from inslab.processing.reports.survey_report import client_report
from inslab.processing.store.geopackage import read_layer, replace_layers, write_geopackage
from inslab.processing.store.layer import Layer
from inslab.processing.store.layers import wave_speed_layer
from inslab.processing.store.reading import read_crs_wkt

HOLES = [
    ((1.1, 1.0), {"penetration_id": "P1", "diameter_m": 0.1, "verdict": "hits", "reason": "bar B06 <is> in the way"}),
    ((1.2, 0.5), {"penetration_id": "P2", "diameter_m": 0.05}),
]


SPEEDS = {
    "A1": WaveSpeed("A1", 0.110, 0.002, 1.2, 0.008, "bar echoes", focus_speed_m_ns=0.114, focus_sigma_m_ns=0.004),
    "A2": WaveSpeed("A2", 0.110, 0.002, 1.2, 0.008, "bar echoes", focus_speed_m_ns=0.130, focus_sigma_m_ns=0.004),
}


@pytest.fixture
def survey(tmp_path):
    path = grounds.write_survey(tmp_path / "survey.gpkg")
    replace_layers(path, [wave_speed_layer(SPEEDS)], read_crs_wkt(path))
    return path


def tables_of(paper, title):
    """The tables of the section that starts with these words."""
    section = next(part for part in paper.parts if isinstance(part, Section) and part.title.startswith(title))
    return [part for part in section.parts if isinstance(part, Table)]


def test_every_item_is_listed_once_with_its_numbers(survey):
    (top,) = tables_of(client_report(survey), "Items, Level 1")
    ids = [row["item_id"] for _, row in read_layer(survey, "items") if row["surface"] == "top"]
    assert sorted(row[0] for row in top.rows) == sorted(ids)
    tendon = next(row for row in top.rows if row[0] == "T1")
    # From the vertices of `grounds`: 100 mm deep, 1-sigma 4 mm, 3 mm in plan.
    assert tendon[1:5] == ("tendon, 98\u00a0%", "100 ± 4", "± 3", "0.99")


def test_refuted_items_are_not_in_the_report(survey):
    rows = read_layer(survey, "items")
    rows[0][1]["status"] = "refuted"
    fields = {name: str if isinstance(value, str) else float for name, value in rows[0][1].items() if value is not None}
    fields.update({name: float for name in rows[0][1] if name.startswith("p_")})
    replace_layers(survey, [Layer("items", "LineStringZ", fields, rows)], read_crs_wkt(survey))
    (top,) = tables_of(client_report(survey), "Items, Level 1")
    assert "B01" not in [row[0] for row in top.rows]


def test_in_short(survey):
    (short,) = tables_of(client_report(survey), "Summary")
    top, soffit = short.rows
    # A1 is 3 m by 2 m, scanned both ways; A2 was scanned one way only and does not count.
    assert top[:4] == ("Level 1", 3, "6.0", "250")
    assert top[4] == "17 bars, 1 tendon"
    assert soffit[0] == "Level 1 (seen from below)"
    assert soffit[4] == "1 bar"


def test_sheets_hold_everything_of_their_level_and_area(survey):
    sheets = [part for part in client_report(survey, holes=HOLES).parts if isinstance(part, MapSheet)]
    assert [(sheet.level, sheet.surface, sheet.area_id) for sheet in sheets] == [
        ("Level 1", "top", None),
        ("Level 1", "top", "A1"),
        ("Level 1", "top", "A2"),
        ("Level 1", "soffit", None),
        ("Level 1", "soffit", "U1"),
    ]
    np.testing.assert_allclose(sheets[0].extent_m, [(-0.5, -0.5), (4.5, 2.5)])
    np.testing.assert_allclose(sheets[2].extent_m, [(2.85, -0.15), (4.15, 2.15)])


def test_an_area_without_a_position_and_one_way_scans_are_said(survey):
    paper = client_report(survey)
    (places,) = tables_of(paper, "Fit of the areas")
    assert next(row for row in places.rows if row[0] == "A3")[1] == "NO POSITION"
    (ground,) = tables_of(paper, "Ground that counts as scanned")
    assert next(row for row in ground.rows if row[0] == "A2")[2:4] == ("ONE WAY ONLY", "250")


def test_wave_speeds_are_compared_with_what_took_no_part_in_them(survey):
    """0.004 apart with a sigma of 0.0045 agrees, 0.020 apart does not (99 per cent: 2.58 sigma)."""
    (speeds,) = tables_of(client_report(survey), "Wave speeds")
    agreeing, other = speeds.rows
    assert agreeing[1] == "0.1100 ± 0.0020"
    assert agreeing[5] == "0.1140 ± 0.0040, agrees"
    assert other[5] == "0.1300 ± 0.0040, DISAGREES"
    # At 100 mm: speed 100 x 0.002 / 0.110 = 1.8 mm, time zero 0.5 x 110 x 0.008 = 0.44 mm; together 1.9 mm.
    assert agreeing[3] == "± 1.9"


def test_page_for_a_browser_says_all_and_escapes_what_came_from_files(survey):
    cover = Cover(client="<script>alert(1)</script>", remarks='"quoted" & more')
    html = paper_html(client_report(survey, cover, HOLES), lambda sheet: b"PNG")
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "bar B06 &lt;is&gt; in the way" in html
    for sentence in cautions.ALL:
        assert sentence in html
    for words in ("HITS AN ITEM", "not checked", "Signature", "data:image/png;base64,UE5H"):
        assert words in html
    assert html.count("<img ") == 5  # one for each sheet
    assert not re.search(r'(src|href)="(?!data:)', html)  # nothing from elsewhere


def test_same_survey_same_report(survey):
    first, second = (paper_html(client_report(survey, holes=HOLES), lambda sheet: b"") for _ in range(2))
    assert first == second


def test_a_survey_without_items_is_refused(tmp_path):
    write_geopackage(tmp_path / "empty.gpkg", [Layer("scan_areas", None, {"area_id": str}, [])], read_crs_wkt(tmp_path))
    with pytest.raises(SurveyError, match="no items and no coverage"):
        client_report(tmp_path / "empty.gpkg")


def test_every_table_has_a_cell_for_each_head(survey):
    for part in client_report(survey, holes=HOLES).parts:
        for table in part.parts if isinstance(part, Section) else ():
            if isinstance(table, Table):
                assert {len(row) for row in table.rows} <= {len(table.heads)}
                assert not table.widths or (
                    len(table.widths) == len(table.heads) and sum(table.widths) == pytest.approx(100)
                )


@pytest.mark.parametrize(("probability", "words"), [(0.0, "< 0.1 %"), (0.0234, "2.3 %"), (0.5, "50 %"), (1.0, "100 %")])
def test_chances(probability, words):
    assert per_cent(probability) == words


def test_a_record_is_reported_too(survey, tmp_path):
    """From a record, whose tables call some things otherwise; what it does not hold is not claimed."""
    rows = {name: read_layer(survey, name) for name in ("items", "coverage")}
    about = [(None, {"name": "crs_wkt", "value": read_crs_wkt(survey)})]
    text = dict.fromkeys(("area_key", "level", "surface"), str)
    coverage = [
        (rings, {"area_key": f"S1/{row['area_id']}", **{name: row[name] for name in ("level", "surface", "depth_m")},
                 "line_directions": row["line_directions"]})
        for rings, row in rows["coverage"]
    ]  # fmt: skip
    mat = {"mat_key": "S1/M1", "level": "Level 1", "surface": "top", "area_ids": "A1", "bar_count": 15}
    numbers = {"direction_deg": 90.0, "spacing_mean_m": 0.2, "spacing_min_m": 0.19, "spacing_max_m": 0.21}
    numbers.update(sigma_spacing_m=0.004, cover_mean_m=0.04, cover_min_m=0.039, cover_q05_m=0.039, sigma_cover_m=0.002)
    item_fields = {name: float if isinstance(value, float) else str for name, value in rows["items"][0][1].items()}
    item_fields.update({name: float for name in item_fields if name.startswith("p_")})
    layers = [
        Layer("about", None, {"name": str, "value": str}, about),
        Layer("scan_areas", "Polygon", text, []),
        Layer("items", "LineStringZ", item_fields, rows["items"]),
        Layer("coverage", "Polygon", {**text, "depth_m": float, "line_directions": int}, coverage),
        Layer(
            "mats",
            None,
            {**dict.fromkeys(("mat_key", "level", "surface", "area_ids", "description"), str), "bar_count": int},
            [(None, {**mat, "description": json.dumps(numbers)})],
        ),
    ]
    write_geopackage(tmp_path / "record.gpkg", layers, read_crs_wkt(survey))
    paper = client_report(tmp_path / "record.gpkg")
    (mats,) = tables_of(paper, "Mats")
    assert mats.rows[0][0] == "S1/M1"
    assert mats.rows[0][5] == "200 ± 4 (190 to 210)"
    (ground,) = tables_of(paper, "Ground that counts as scanned")
    assert ground.rows[0][0] == "S1/A1"
    (findings,) = tables_of(paper, "Findings")
    assert "their own reports" in findings.empty


def test_depths_in_a_list_of_items():
    row = {"depth_min_m": 0.0476, "depth_max_m": 0.085, "sigma_depth_m": 0.005}
    assert depth_words(row) == "48–85 ± 5"
    assert depth_words({**row, "depth_max_m": 0.048, "sigma_depth_m": None}) == "48"
    assert depth_words({**row, "depth_min_m": None}) == "not known"
