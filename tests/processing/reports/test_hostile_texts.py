"""Texts of a stranger's files stay texts in every page that is written."""

import ast
import csv
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from pages import ALL_HOSTILE, HOSTILE, check_page

from inslab.processing.record.query import Answer, Question
from inslab.processing.reports.content import (
    Bullets,
    Cautions,
    MapSheet,
    Paper,
    Picture,
    Section,
    Signatures,
    Table,
    Text,
)
from inslab.processing.reports.page import paper_html
from inslab.processing.reports.record_answer import answer_page
from inslab.processing.reports.survey_report import run_report
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import replace_layers
from inslab.processing.store.layers import finding_layer
from inslab.processing.survey.model import Finding

pytest.importorskip("osgeo.ogr")
ROOT = Path(__file__).resolve().parents[3]


def test_the_check_of_pages_sees_what_is_not_escaped():
    for text in HOSTILE[:2]:
        with pytest.raises(AssertionError):
            check_page(f"<p>{text}</p>")
    with pytest.raises(AssertionError):
        check_page(f"<p title='{HOSTILE[2]}'></p>")


TAG = re.compile(r"</?(p|h[1-6]|ul|li|div|br|table|thead|tbody|tr|th|td|img|figure|figcaption|body|html)\b[^>]*>")
# The second one makes what tooltips and the bar of messages need of plain text.
MAKERS = ("processing/reports/page.py", "plugin/plain_text.py")


def test_html_is_made_where_it_is_escaped_and_nowhere_else():
    for file in [*ROOT.glob("processing/**/*.py"), *ROOT.glob("plugin/**/*.py")]:
        if file.relative_to(ROOT).as_posix() in MAKERS:
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                assert not TAG.search(node.value), f"{file}, line {node.lineno}"


@pytest.fixture
def hostile_survey(small_survey, tmp_path):
    """The small survey in a folder with a hostile name, and with hostile cells wherever a table takes any text."""
    folder = shutil.copytree(small_survey, tmp_path / "a&b <i>'c'")
    for name, columns in (
        ("scan_areas.csv", {"scanned_on": 0, "scanned_by": 1, "note": 2, "instrument": 0}),
        ("control_points.csv", {"point_id": None}),
    ):
        with (folder / name).open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        for number, row in enumerate(rows):
            row.update({column: ALL_HOSTILE if at is None else HOSTILE[at] for column, at in columns.items()})
            if "point_id" in row:
                row["point_id"] = f"{number} {ALL_HOSTILE}"
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(rows)
    return folder


def test_the_report_of_a_survey(hostile_survey, tmp_path):
    result = read_survey_step(hostile_survey, tmp_path / "survey.gpkg", tmp_path / "report.html")
    check_page((tmp_path / "report.html").read_text(encoding="utf-8"), hostile_survey.name, HOSTILE[0], ALL_HOSTILE)
    findings = finding_layer([*result.found.findings, Finding("warning", HOSTILE[1], HOSTILE[3])])
    replace_layers(result.survey_path, [findings], result.read.crs_wkt)
    report = run_report(result.survey_path, result.found.site_fit, {"A1": ALL_HOSTILE})
    check_page(paper_html(report), HOSTILE[1], HOSTILE[3], ALL_HOSTILE)


def test_the_name_of_an_instrument_in_the_fit(hostile_survey, tmp_path):
    """The only text of a file that stands in a sentence of the report rather than in a table."""
    result = read_survey_step(hostile_survey, tmp_path / "survey.gpkg", tmp_path / "report.html")
    site_fit = replace(result.found.site_fit, scales={HOSTILE[0]: (1.001, 0.0002)})
    check_page(paper_html(run_report(result.survey_path, site_fit)), f"Scale of {HOSTILE[0]}: +1000")


def test_a_paper_for_a_client(tmp_path):
    picture = tmp_path / "picture.png"
    picture.write_bytes(b"\x89PNG")
    parts = (
        Text(HOSTILE[0]),
        Table(HOSTILE, [HOSTILE], widths=[20] * len(HOSTILE)),
        Table(("a",), [], empty=HOSTILE[4]),
        Bullets(HOSTILE),
        Picture(picture, HOSTILE[2]),
        Cautions(),
        Signatures((HOSTILE[3],)),
    )
    sheet = MapSheet(HOSTILE[1], HOSTILE[0], "top", None, HOSTILE[3])
    html = paper_html(Paper(HOSTILE[0], (Section(HOSTILE[1], parts), sheet)), lambda _: b"\x89PNG")
    check_page(html, *HOSTILE)


class HostileRow(dict):
    """A row of a record whose texts are all hostile."""

    def __missing__(self, name):
        return ALL_HOSTILE


def test_an_answer_of_the_record():
    numbers = dict.fromkeys(("depth_min_m", "depth_max_m", "sigma_depth_m", "sigma_xy_m", "kind_confidence"), 0.1)
    numbers.update(dict.fromkeys(("depth_m", "diameter_m", "age_years", "area_m2", "seen_to_m"), 0.1))
    row = HostileRow(numbers, level=ALL_HOSTILE, surface=HOSTILE[0], why=HOSTILE[1])
    answer = Answer(Question(level=ALL_HOSTILE), "2031-01-01", [(ALL_HOSTILE, HOSTILE[0])])
    answer = replace(answer, items=[row], verifications=[row], penetrations=[row], unknown=[row])
    check_page(answer_page(answer, HOSTILE[2]), ALL_HOSTILE, *HOSTILE[:3])


def test_the_report_of_a_fitted_drawing(tmp_path):
    import plans

    from inslab.processing.site.drawing_fit import pairs_from_rows
    from inslab.processing.steps.fitdrawing import fit_drawing_step

    drawing = tmp_path / "a&b <i>.dxf"
    plans.write_dxf(drawing)
    plans.write_pairs(tmp_path / "pairs.csv")
    given = plans.read_rows(tmp_path / "pairs.csv")
    rows = [({**row, "point_id": f"{n} {ALL_HOSTILE}"}, where) for n, (row, where) in enumerate(given)]
    fit_drawing_step(drawing, pairs_from_rows(rows, False), tmp_path / "out")
    check_page((tmp_path / "out" / "a&b <i>-fit.html").read_text(encoding="utf-8"), drawing.name, ALL_HOSTILE)
