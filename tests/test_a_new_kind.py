"""A kind that is added to the table of kinds is drawn, sized, recorded, reported and checked; no other module is told of it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import old_results
import pytest
from tiny import tiny_survey

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")
HELPERS = Path(__file__).resolve().parent / "helpers"


def run_process(script, *words):
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, str(HELPERS / script), *map(str, words)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False, env=environment, cwd="/")
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """What a process says in which the table holds a kind more, 'strut' (`tests/helpers/invented_kind.py`)."""
    return run_process("invented_kind.py", tmp_path_factory.mktemp("new_kind"))


def test_it_is_an_item_of_the_survey_and_of_the_record(told):
    found = told["processing"]
    assert set(found["kinds"]) == set(found["record"]) == {"strut"}
    assert found["share"] == 0.9


def test_its_keep_out_distance_decides(told):
    """0.1 m beside it, and with its own 0.123 m: the other kinds would let the hole pass, or call it unknown ground."""
    assert "strut " in told["processing"]["reason"]
    assert "keep-out distance of 123 mm" in told["processing"]["reason"]
    assert told["processing"]["verdict"] == "too_close"


def test_every_step_of_its_survey_has_a_state(told):
    assert told["processing"]["steps"]


def test_it_has_its_layer_and_pen_in_drawings(told):
    """Read back by an independent library."""
    found = told["processing"]
    layers = {layer.dxf.name: layer.dxf.color for layer in pytest.importorskip("ezdxf").readfile(found["dxf"]).layers}
    assert {colour for name, colour in layers.items() if name.startswith("S-STRUT-E-E")} == {4}
    assert "STRUT" in found["points"]
    assert "STRUT = strut" in found["read_me"]


def test_both_reports_and_the_record_name_it(told):
    found = told["processing"]
    assert "strut" in found["report"]
    assert "strut" in found["client"]
    assert any("2 items are known (2 struts)" in sentence for sentence in found["answer"])


def test_it_has_its_size_in_space_and_its_look_on_the_map(told):
    assert told["processing"]["drawn_m"] == 0.033
    found = told["plugin"]
    assert found["rule"] == "\"kind\" = 'strut'"
    assert "'strut'" in found["otherwise"]  # not drawn twice
    assert found["line"] == ["#56b4e9", 1.1, [4.0, 2.0]]
    assert found["body"] == "#56b4e9"


def test_forms_and_algorithms_offer_it(told):
    found = told["plugin"]
    for offered in (found["choices"], found["exported"], found["verified"], found["keep_out"]):
        assert "strut" in offered
    assert found["keep_out"][found["keep_out"].index("strut") + 1] == 0.123
    assert "STRUT_COUNT" in found["outputs"]


@pytest.fixture(scope="module", params=["geopackage", "postgis"])
def old(request, tmp_path_factory, small_survey):
    """What a process that knows 'strut' says of the survey and the record that version 0.1.0 made; and its verdicts."""
    from inslab.processing.steps.updaterecord import update_record_step
    from inslab.processing.store.geopackage import read_layer, read_metadata
    from inslab.processing.store.schema import RELATIVE_FOLDER_KEY

    folder = tmp_path_factory.mktemp("old")
    results = folder / "results"
    results.mkdir()
    survey = old_results.unpack(results)
    tiny_survey(small_survey, (results / read_metadata(survey, RELATIVE_FOLDER_KEY)).resolve())
    record = str(results / "record.gpkg")
    if request.param == "postgis":  # version 0.1.0 knew the same kinds, and made the same tables for them
        record = f"{request.getfixturevalue('postgis')} schema=old_kinds"
        update_record_step(survey, record, "2031-06-01", penetrations_path=results / "penetrations.gpkg")
    verdicts = [row for _, row in read_layer(results / "penetrations.gpkg", "penetration_verdicts")]
    return run_process("invented_kind_in_old_results.py", survey, record, folder), verdicts


def test_an_old_record_is_read_as_if_nobody_had_thought_of_it(old):
    assert "strut" in old[0]["kinds"]
    assert old[0]["first"]


def test_an_old_survey_is_the_same_content_to_an_old_record(old):
    """Items are derived anew, with a kind more to share their probability; nothing else changes, and the second time nothing."""
    found = old[0]
    assert found["same"]
    assert found["outside"] == 0
    assert set(found["changed"]) == {"items"}
    assert found["third"] is None


def test_an_item_of_an_old_record_is_verified_as_one(old):
    found = old[0]
    assert found["verified"] == [["strut", 1.0]]
    assert found["others"] == found["were"]
    assert any("1 strut" in sentence for sentence in found["answer"])


def test_history_goes_on(old):
    assert old[0]["kept"]
    assert old[0]["replayed"]


def test_verdicts_on_an_old_survey_stay(old):
    names = ("verdict", "governing_item", "margin_m", "touch_probability")
    assert old[0]["verdicts"] == [[row[name] for name in names] for row in old[1]]


def test_an_old_survey_is_reported_and_joined_as_before(old):
    assert old[0]["report"]
    assert old[0]["edits"] == [1, False]
    assert old[0]["joined"]
