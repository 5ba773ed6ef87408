"""What version 0.1.0 wrote is read by each step on a survey or a record; what cannot be read is refused in one sentence."""

import inspect

import old_results
import pytest
from tiny import tiny_survey

from inslab.processing.common.errors import InslabError, SurveyError
from inslab.processing.edits.hand_edits import edited_since, read_edits
from inslab.processing.penetrations.ground import read_tables
from inslab.processing.penetrations.model import DEFAULT_RULES, Penetrations
from inslab.processing.record.query import Question
from inslab.processing.reports.plane_content import DrawingChoice, read_drawing
from inslab.processing.reports.survey_report import client_report, run_report
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.steps.checkpenetrations import check_penetrations_step
from inslab.processing.steps.exportdrawing import export_drawing_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.queryrecord import query_record_step
from inslab.processing.steps.updaterecord import update_record_step
from inslab.processing.store import reading, schema
from inslab.processing.store.fingerprints import read_inputs
from inslab.processing.store.geopackage import read_layer, read_metadata, replace_layers
from inslab.processing.store.layer import layer_of
from inslab.processing.store.schema import (
    AREA_ITEMS,
    CONTROL_POINTS,
    COVERAGE,
    ITEMS,
    LAST_WRITTEN,
    PENETRATION_VERDICTS,
    PICKS,
    SCAN_AREAS,
    SCHEMA_VERSION,
    SCHEMA_VERSION_KEY,
    SEAMS,
    WAVE_SPEEDS,
)


@pytest.fixture
def survey(tmp_path):
    return old_results.unpack(tmp_path)


@pytest.fixture
def with_folder(survey, small_survey, tmp_path):
    """The old survey, and its folder where it looks for it beside the results."""
    relative = read_metadata(survey, schema.RELATIVE_FOLDER_KEY)
    results = tmp_path / "results"
    results.mkdir()
    survey.rename(results / survey.name)
    tiny_survey(small_survey, (results / relative).resolve())
    return results / survey.name


def check(survey):
    """Old verdicts again: rows of the old layer, and verdicts of now."""
    rows = read_layer(survey.with_name("penetrations.gpkg"), PENETRATION_VERDICTS.name)
    holes = Penetrations.upright([place for place, _ in rows], 0.020, 0.10, 0.003)
    output = survey.with_name("again.gpkg")
    found = check_penetrations_step(
        survey, holes, [("top", None)] * len(rows), [{}] * len(rows), {}, output, DEFAULT_RULES
    )
    return [row for _, row in rows], found


def test_it_has_the_layers_and_columns_of_the_schema(survey):
    """So that it is of version 1, though it does not say so."""
    assert read_metadata(survey, SCHEMA_VERSION_KEY) is None
    for table in schema.TABLES.values():
        for _, row in read_layer(survey, table.name):
            assert list(row) == list(table.columns), table.name


def test_every_reader_reads_it(survey):
    assert set(reading.read_wave_speeds(survey)) == set(reading.read_places(survey)) == {"A1", "A2"}
    assert all(fit.is_fitted for fit in reading.read_places(survey).values())
    assert len(reading.read_picks(survey)) == 20
    assert len(reading.read_area_items(survey)) == 10
    assert set(reading.read_area_depths(survey)) == {"A1", "A2"}
    assert reading.read_survey_name(survey) == "survey"
    assert len(reading.read_run_log(survey)) == 9
    assert read_inputs(survey)["lines"]
    assert reading.read_crs_wkt(survey) == reading.read_crs_wkt(survey.with_name("record.gpkg"))
    assert reading.read_findings(survey) != []
    assert reading.read_raster_paths(survey) == []  # they are not kept
    edits = read_edits(survey)
    assert [drawn.row_id for drawn in edits.items] == ["A1-001"]
    assert [one.row_id for one in edits.dismissed if one.layer == ITEMS.name] == ["A1-001", "A2-005"]
    assert not edited_since(survey)


def test_items_are_joined_again(with_folder):
    before = {row[ITEMS.item_id]: row for _, row in read_layer(with_folder, ITEMS.name)}
    join_items_step(with_folder)
    after = {row[ITEMS.item_id]: row for _, row in read_layer(with_folder, ITEMS.name)}
    assert set(after) == set(before)
    assert all(after[name] == before[name] for name in after)


def test_penetrations_are_checked_with_the_same_verdicts(survey):
    rows, found = check(survey)
    assert read_tables(survey).planes == [("Level 1", "top")]
    assert [one.verdict for one in found] == [row[PENETRATION_VERDICTS.verdict] for row in rows] == 2 * ["unknown"]
    names = (PENETRATION_VERDICTS.governing_item, PENETRATION_VERDICTS.margin_m, PENETRATION_VERDICTS.touch_probability)
    assert [getattr(found[0], name) for name in names] == [rows[0][name] for name in names]


def test_reports_and_drawings_are_made_of_it(survey, tmp_path):
    for path in (survey, survey.with_name("record.gpkg")):
        assert client_report(path).parts
        assert len(read_drawing(path, "top", None, DrawingChoice()).items) == 9
    assert run_report(survey).parts
    export_drawing_step(survey, dxf_path=tmp_path / "drawing.dxf")
    assert (tmp_path / "drawing.dxf").stat().st_size > 1000


def test_it_goes_into_the_old_record_and_into_a_new_one(survey):
    """The old record knows it already: nothing changes there."""
    old, new = (str(survey.with_name(name)) for name in ("record.gpkg", "new.gpkg"))
    _, changed = update_record_step(survey, old, "2031-07-01")
    assert changed.revision is None
    update_record_step(survey, new, "2031-07-01", penetrations_path=survey.with_name("penetrations.gpkg"))
    answers = [query_record_step(name, Question(level="Level 1"))[0] for name in (old, new)]
    assert [len(answer.items) for answer in answers] == [9, 9]
    assert [row["status"] for row in answers[0].items].count("verified") == 1


def test_a_new_survey_states_the_version_of_its_schema(small_survey, tmp_path):
    from inslab.processing.steps.readsurvey import read_survey_step

    read_survey_step(small_survey, tmp_path / "survey.gpkg")
    assert read_metadata(tmp_path / "survey.gpkg", SCHEMA_VERSION_KEY) == str(SCHEMA_VERSION)


READERS = {
    "wave speeds": reading.read_wave_speeds,
    "places": reading.read_places,
    "picks": reading.read_picks,
    "items of areas": reading.read_area_items,
    "depths of areas": reading.read_area_depths,
    "findings": reading.read_findings,
    "run log": reading.read_run_log,
    "site grid": reading.read_crs_wkt,
    "name": reading.read_survey_name,
    "folder": reading.find_survey_folder,
    "rasters": reading.read_raster_paths,
    "inputs": read_inputs,
    "hand edits": read_edits,
    "joining": join_items_step,
    "penetrations": check,
    "client report": client_report,
    "run report": run_report,
    "drawing": lambda survey: read_drawing(survey, "top", None, DrawingChoice()),
    "record": lambda survey: update_record_step(survey, str(survey.with_name("new.gpkg")), "2031-07-01"),
    "writing": lambda survey: replace_layers(survey, [layer_of(SEAMS, [])], local_crs_wkt()),
}


@pytest.mark.parametrize("version", [str(SCHEMA_VERSION + 1), "2.1"])
@pytest.mark.parametrize("name", READERS)
def test_a_later_version_s_survey_is_refused(survey, name, version):
    old_results.with_metadata(survey, SCHEMA_VERSION_KEY, version)
    content = survey.read_bytes()
    with pytest.raises(
        SurveyError, match=r"survey\.gpkg was written by a later version of Inslab; update Inslab, then"
    ):
        READERS[name](survey)
    assert survey.read_bytes() == content


LACKING = [
    ("penetrations", ITEMS),
    ("penetrations", COVERAGE),
    ("client report", ITEMS),
    ("client report", COVERAGE),
    ("client report", SCAN_AREAS),
    ("run report", ITEMS),
    ("drawing", ITEMS),
    ("drawing", COVERAGE),
    ("record", ITEMS),
    ("record", COVERAGE),
    ("record", WAVE_SPEEDS),
    ("joining", CONTROL_POINTS),
    ("joining", AREA_ITEMS),
    ("joining", PICKS),
    ("joining", ITEMS),
    ("joining", LAST_WRITTEN),
]


@pytest.mark.parametrize(("name", "table"), LACKING, ids=lambda one: getattr(one, "name", one))
def test_a_survey_without_a_layer_is_refused(with_folder, name, table, tmp_path):
    old_results.unpack(with_folder.parent)
    old_results.without_layer(with_folder, table.name)
    content = with_folder.read_bytes()
    with pytest.raises(
        InslabError, match=f"has no layer {table.name}: another version of Inslab wrote it, or somebody"
    ):
        READERS[name](with_folder)
    assert with_folder.read_bytes() == content
    assert not with_folder.with_name("new.gpkg").exists()


@pytest.mark.parametrize(
    ("name", "table", "column"),
    [
        ("penetrations", ITEMS, ITEMS.sigma_xy_m),
        ("penetrations", COVERAGE, COVERAGE.line_directions),
        ("client report", ITEMS, ITEMS.confidence),
        ("client report", COVERAGE, COVERAGE.depth_m),
        ("drawing", ITEMS, ITEMS.status),
        ("drawing", ITEMS, ITEMS.kind),
        ("record", ITEMS, ITEMS.area_ids),
        ("record", SCAN_AREAS, SCAN_AREAS.scanned_on),
        ("joining", AREA_ITEMS, AREA_ITEMS.vertices_m),
        ("joining", SCAN_AREAS, SCAN_AREAS.fit),
        ("wave speeds", WAVE_SPEEDS, WAVE_SPEEDS.sigma_m_ns),
        ("hand edits", PICKS, PICKS.local_x_m),
    ],
)
def test_a_survey_without_a_column_is_refused(with_folder, name, table, column):
    old_results.unpack(with_folder.parent)
    old_results.without_column(with_folder, table.name, column)
    content = with_folder.read_bytes()
    with pytest.raises(SurveyError, match=f"its layer {table.name} has no column {column}: another version"):
        READERS[name](with_folder)
    assert with_folder.read_bytes() == content


@pytest.mark.parametrize("surface", ["ceiling", "{x}", None])
@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("penetrations", SCAN_AREAS),
        ("penetrations", COVERAGE),
        ("penetrations", ITEMS),
        ("record", SCAN_AREAS),
        ("joining", SCAN_AREAS),
        ("hand edits", SCAN_AREAS),
    ],
    ids=lambda one: getattr(one, "name", one),
)
def test_what_computes_refuses_an_unknown_surface(with_folder, name, table, surface):
    """It could lie on the other side: depths would count the wrong way, a plan would be mirrored."""
    old_results.unpack(with_folder.parent)
    old_results.with_value(with_folder, table.name, "surface", surface)
    content = with_folder.read_bytes()
    with pytest.raises(
        SurveyError,
        match=rf'layer {table.name} of .*survey\.gpkg has the surface "{surface or ""}", which is none of top,',
    ):
        READERS[name](with_folder)
    assert with_folder.read_bytes() == content


@pytest.mark.parametrize(
    ("surface", "words"),
    [("ceiling", 'unknown surface "ceiling"'), ("{x}", 'unknown surface "{x}"'), (None, "not stated")],
)
def test_what_only_shows_rows_tells_an_unknown_surface(survey, surface, words):
    for table in (SCAN_AREAS, ITEMS, COVERAGE):
        old_results.with_value(survey, table.name, "surface", surface)
    assert words in str(client_report(survey).parts)


def test_a_file_of_an_unknown_group_among_the_inputs_does_not_count(with_folder):
    before = read_inputs(with_folder)
    old_results.with_value(with_folder, "input_files", "content", "weather")
    after = read_inputs(with_folder)
    assert set(after) == set(before)
    assert sum(map(len, after.values())) == sum(map(len, before.values())) - 1
    join_items_step(with_folder)


def test_every_reader_of_a_survey_is_among_them():
    """All of store/reading.py that take a path, so that a new one is not forgotten."""
    taking_more = {"read_stored_survey", "read_fits", "read_joined_ids", "raster_path", "check_surfaces"}
    names = {
        name
        for name, found in vars(reading).items()
        if inspect.isfunction(found) and found.__module__ == reading.__name__ and not name.startswith("_")
    }
    assert names - taking_more - {"pick_of", "crs_wkt_of"} <= {getattr(one, "__name__", "") for one in READERS.values()}


def test_an_old_record_of_another_schema_is_refused(survey):
    record = survey.with_name("record.gpkg")
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(record)) as file:
        file.execute("UPDATE about SET value = '2' WHERE name = 'schema_version'")
        file.commit()
    for ask in (
        lambda: update_record_step(survey, str(record), "2031-07-01"),
        lambda: query_record_step(str(record), Question(level="Level 1")),
    ):
        with pytest.raises(InslabError, match=r"written by another version of Inslab \(schema 2, not 1\)"):
            ask()
