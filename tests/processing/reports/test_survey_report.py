"""The two reports on one survey: what a run's report says, and that the client's says the same."""

import re
from html import escape

import numpy as np
import pytest
import stand_ins

from inslab.processing.common import cautions
from inslab.processing.common.errors import ProcessingError
from inslab.processing.reports.content import Bullets, Cautions, Section, Table, Text
from inslab.processing.reports.page import paper_html
from inslab.processing.reports.survey_report import client_report, run_report
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import read_layer, replace_layers
from inslab.processing.store.layer import Layer, layer_of
from inslab.processing.store.reading import read_crs_wkt
from inslab.processing.store.schema import COVERAGE, FINDINGS, ITEMS, SEAMS, TIES, WAVE_SPEEDS

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")

# Three parallel bars, a mat: local x, y and depth of their ends, metres.
BARS = [((0.0, y, depth), (0.4, y, depth)) for y, depth in ((0.1, 0.05), (0.2, 0.052), (0.3, 0.054))]


@pytest.fixture
def survey(folder, monkeypatch, tmp_path):
    """survey.gpkg of a run over four placed areas and one without a position, of which a wall failed; with ties and seams."""
    calls = stand_ins.stand_in(monkeypatch)
    calls.bars["A1"] = BARS
    calls.fail["W1"] = ProcessingError("no line shows a direct wave.")
    result = process_survey_step(folder, tmp_path / "out")
    path = result.survey_path
    pair = {"area_id": "A1", "area_id_b": "A2", "level": "L1", "surface": "top"}
    tie = {**pair, "source": "table", "standardized": 1.2, "redundancy": 0.4, "used": True}
    ties = [
        {**tie, "tie_id": "T1", "kind": "tie", "unit": "m", "residual": 0.003, "residual_y": -0.0041, "sigma": 0.002,
         "detectable": 0.011},
        {**tie, "tie_id": "D1", "kind": "direction", "unit": "rad", "area_id_b": None, "residual": 0.001,
         "sigma": 0.0005, "used": False},
    ]  # fmt: skip
    seam = {**pair, "item_id": "A1-1", "item_id_b": "A2-1", "sigma_lateral_m": 0.004, "sigma_depth_m": 0.003}
    offsets = ((0.003, 0.002, True), (-0.004, -0.006, False))
    seams = [{**seam, "lateral_m": a, "depth_offset_m": d, "agrees": agrees} for a, d, agrees in offsets]
    layers = [layer_of(TIES, [(None, row) for row in ties]), layer_of(SEAMS, [(None, row) for row in seams])]
    replace_layers(path, layers, read_crs_wkt(path))
    return path


def sections(paper):
    return {part.title: part.parts for part in paper.parts if isinstance(part, Section)}


def tables_of(paper, title):
    return [part for part in sections(paper)[title] if isinstance(part, Table)]


def column(table, head):
    return [row[list(table.heads).index(head)] for row in table.rows]


def values(path, table):
    return [row for _, row in read_layer(path, table.name)]


def test_what_both_reports_show_is_the_same(survey):
    """Tables of the same section have the same cells under the same heads, wherever both lengths list the same rows."""
    run, client = run_report(survey), client_report(survey)
    compared = 0
    for title in [title for title in sections(run) if title in sections(client)]:
        if title.startswith("Ties"):
            continue  # one by one in the run's report, summed up in the client's
        for ours, theirs in zip(tables_of(run, title), tables_of(client, title)):
            if title == "":
                continue  # the covers
            assert len(ours.rows) == len(theirs.rows), title
            for head in dict.fromkeys(theirs.heads):
                own = [row[n] for row in ours.rows for n, name in enumerate(ours.heads) if name == head]
                other = [row[n] for row in theirs.rows for n, name in enumerate(theirs.heads) if name == head]
                if list(ours.heads).count(head) == list(theirs.heads).count(head):
                    assert own == other, (title, head)
                    compared += len(own)
    assert compared > 150
    only = [title for title in sections(client) if title not in sections(run) and not title.startswith("Items, ")]
    assert only == ["How to read this report", "Signatures"]


def test_items_are_counted_alike_with_the_same_depths_and_sigmas(survey):
    (kinds,) = tables_of(run_report(survey), "Items")
    listed = [row for title, parts in sections(client_report(survey)).items() if title.startswith("Items, ")
              for part in parts if isinstance(part, Table) for row in part.rows]  # fmt: skip
    assert sum(column(kinds, "#Number")) == len(listed) == len(values(survey, ITEMS))
    bars = values(survey, ITEMS)
    assert column(kinds, "Kind") == ["bar"]
    low, high = column(kinds, "#Depth to top mm")[0].split(" to ")
    depths = [int(number) for row in listed for number in row[2].split(" ± ")[0].split("–")]
    assert (int(low), int(high)) == (min(depths), max(depths))
    largest = max(row["sigma_xy_m"] for row in bars)
    assert column(kinds, "#Largest lateral sigma mm") == [f"{1000 * largest:.1f}"]
    assert max(int(row[3][2:]) for row in listed) == round(1000 * largest)


def test_numbers_are_those_of_the_survey(survey):
    run = run_report(survey)
    (speeds,) = tables_of(run, "Wave speeds, and checks on them")
    assert column(speeds, "Area") == [row["area_id"] for row in values(survey, WAVE_SPEEDS)]
    assert set(column(speeds, "#Wave speed m/ns")) == {"0.1100 ± 0.0010"}
    assert set(column(speeds, "#Time zero ns")) == {"1.200 ± 0.010"}
    (ground,) = tables_of(run, "Ground that counts as scanned")
    assert len(ground.rows) == len(values(survey, COVERAGE))
    assert column(ground, "#Ground m²")[0] == "0.16"  # 0.4 m by 0.4 m
    (mats,) = tables_of(run, "Mats of bars")
    assert column(mats, "#Spacing mm (least to largest)")[0].startswith("100 ± ")
    (findings,) = tables_of(run, "Findings and limits")
    assert column(findings, "What") == [row["text"] for row in values(survey, FINDINGS)]
    assert "ERROR" in column(findings, "Severity")


def test_seams_are_summed_up_by_pair(survey):
    """Offsets 3 and -4 mm across, 2 and -6 mm in depth: RMS 3.5 and 4.5 mm, median depth -2 mm."""
    (run,), (client,) = (tables_of(made(survey), "Seams between areas") for made in (run_report, client_report))
    assert run.rows == [("A1 – A2", 2, "3.5", "4.0", "4.0", "4.5", "-2.0", "6.0", "3.0", "1 of 2 does not")]
    assert client.rows == [("A1 – A2", 2, "3.5", "4.0", "4.0", "4.5", "3.0", "1 of 2 does not")]


def test_other_observations_one_by_one_and_summed_up(survey):
    title = "Ties, directions and taped distances"
    (run,), (client,) = (tables_of(made(survey), title) for made in (run_report, client_report))
    assert run.rows == [
        ("tie", "T1", "A1 – A2", "2.0", "3.0 / -4.1", "1.2", "0.40", "11.0", "yes"),
        ("direction", "D1", "A1", "0.029°", "0.057°", "1.2", "", "unchecked", "NO"),
    ]
    assert client.rows == [
        ("direction", "A1", 1, "0.057°", "1.2", 1),
        ("tie", "A1 – A2", 1, "3.0 mm", "1.2", "none"),
    ]


def test_both_carry_the_cautions_and_say_what_is_unknown(survey):
    for paper in (run_report(survey), client_report(survey)):
        assert any(isinstance(part, Cautions) for part in sections(paper)[""])
        html = paper_html(paper, lambda _: b"")
        for sentence in cautions.ALL:
            assert sentence in html
        (fit,) = tables_of(paper, "Fit of the areas to the site grid")
        assert dict(zip(column(fit, "Area"), column(fit, "Position")))["LOST"] == "NO POSITION"
        shown = " ".join(part.text for part in sections(paper)["Summary"] if isinstance(part, Text))
        assert "lies in an area without a position" in shown
        warnings = [part for part in sections(paper)["Wave speeds, and checks on them"] if isinstance(part, Bullets)]
        assert "A1: Check <this>." in warnings[0].lines


def test_the_report_that_a_run_writes_is_made_of_what_it_wrote(survey, folder):
    """With what survey.gpkg does not hold: the adjustment as a whole, and why an area failed."""
    html = (survey.parent / "report.html").read_text(encoding="utf-8")
    assert escape(str(folder)) in html
    assert "4 of 5 areas are placed, by 17 observations adjusted together" in html  # 4 x 4 points, a shared item
    assert html.count("no line shows a direct wave.") == 2  # beside the area, and among the findings
    assert re.search(r"<td>W1</td>.*<td>no line shows a direct wave\.</td>", html)


def test_a_step_leaves_out_what_was_not_done(folder, tmp_path):
    result = read_survey_step(folder, tmp_path / "survey.gpkg", tmp_path / "read.html")
    titles = list(sections(run_report(result.survey_path)))
    assert titles == [
        "", "Scans and instrument", "Findings and limits", "Fit of the areas to the site grid", "Control points",
    ]  # fmt: skip
    html = (tmp_path / "read.html").read_text(encoding="utf-8")
    assert "Variance factor" in html
    assert "Wave speeds" not in html


def test_after_a_new_fit_the_report_says_all_that_the_survey_holds(survey, tmp_path):
    fit_areas_step(survey, tmp_path / "fit.html")
    html = (tmp_path / "fit.html").read_text(encoding="utf-8")
    for words in ("areas are placed", "Wave speeds, and checks on them", "Mats of bars", "Summary"):
        assert words in html


def test_items_to_be_checked_and_refuted_ones_are_told(survey):
    rows = read_layer(survey, ITEMS.name)
    rows[0][1]["flag"], rows[1][1]["status"] = "Two areas put it 20 mm apart.", "refuted"
    fields = {name: ITEMS.columns.get(name, str) for name in rows[0][1]}
    replace_layers(survey, [Layer(ITEMS.name, ITEMS.geometry, fields, rows)], read_crs_wkt(survey))
    kinds, flagged = tables_of(run_report(survey), "Items")
    assert column(kinds, "#Number") == [len(rows) - 1]
    assert column(flagged, "Item") == [rows[0][1]["item_id"]]
    assert flagged.rows[0][-1].endswith("CHECK ON SITE: Two areas put it 20 mm apart.")
    texts = [part.text for part in sections(run_report(survey))["Items"] if isinstance(part, Text)]
    assert "Refuted or superseded, and not counted here: 1." in texts


def test_widths_share_the_page(survey):
    for paper in (run_report(survey), client_report(survey)):
        for parts in sections(paper).values():
            for table in [part for part in parts if isinstance(part, Table) and part.widths]:
                assert len(table.widths) == len(table.heads)
                assert np.sum(table.widths) == pytest.approx(100)
