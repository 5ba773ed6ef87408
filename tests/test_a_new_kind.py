"""A kind that is added to the table of kinds is drawn, sized, recorded, reported and checked; no other module is told of it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")
SCRIPT = Path(__file__).resolve().parent / "helpers" / "invented_kind.py"


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """What a process says in which the table holds a kind more, 'strut' (`tests/helpers/invented_kind.py`)."""
    folder = tmp_path_factory.mktemp("new_kind")
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, str(SCRIPT), str(folder)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False, env=environment, cwd="/")
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout.splitlines()[-1])


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
