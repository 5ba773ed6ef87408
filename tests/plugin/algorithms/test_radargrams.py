"""inslab:radargrams: definition, refusals, run, cancelling."""

import struct
from pathlib import Path

import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsProcessingException


@pytest.fixture
def survey(processed, inslab_provider):
    """Path of a survey.gpkg with wave speeds, picks and items; it is not to be changed."""
    return Path(processed[0]["OUTPUT_FOLDER"]) / "survey.gpkg"


def test_definition(inslab_provider):
    assert parameters_of("radargrams") == {
        "SURVEY": ("file", None, False),
        "LINES": ("string", "", True),
        "PANELS": ("enum", ["raw", "processed"], False),
        "OUTPUT_FOLDER": ("folderDestination", None, False),
    }
    assert outputs_of("radargrams") == {"OUTPUT_FOLDER", "PICTURE_COUNT"}


def test_refusals(survey, tmp_path):
    parameters = {"SURVEY": str(survey), "OUTPUT_FOLDER": str(tmp_path / "out")}
    assert complaint("radargrams", parameters) == ""
    assert "There is no file" in complaint("radargrams", {**parameters, "SURVEY": str(tmp_path / "s.gpkg")})
    assert complaint("radargrams", {**parameters, "PANELS": ["shaded"]})
    with pytest.raises(QgsProcessingException, match=r"no area or line A9/x05; write A1/x05"):
        run("radargrams", {**parameters, "LINES": "A1/X00, A9/x05"})
    assert not list((tmp_path / "out").glob("*"))


def test_run_draws_one_picture_a_line_and_axis(survey, tmp_path):
    before = survey.read_bytes()
    folder = tmp_path / "out"
    parameters = {"SURVEY": str(survey), "OUTPUT_FOLDER": str(folder), "LINES": "A2/Y03"}
    outputs = run("radargrams", parameters)
    assert outputs["PICTURE_COUNT"] == 2
    assert sorted(path.name for path in folder.iterdir()) == ["A2_Y03_across.png", "A2_Y03_along.png"]
    wide = {}
    for panels in (["raw"], ["raw", "processed", "migrated"]):
        run("radargrams", {**parameters, "PANELS": panels})
        # Width and height as the PNG specification (ISO/IEC 15948) stores them, after the signature and the chunk's name.
        start = (folder / "A2_Y03_across.png").read_bytes()[:24]
        assert start[:8] == b"\x89PNG\r\n\x1a\n"
        wide[len(panels)] = struct.unpack(">II", start[16:24])[0]
    assert wide[3] == pytest.approx(3 * wide[1], rel=0.01)
    assert survey.read_bytes() == before


@pytest.mark.parametrize("stop_at", [0, 60])
def test_cancelled_leaves_the_earlier_pictures(survey, tmp_path, stop_at):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "A1_X00_across.png").write_text("earlier")
    parameters = {"SURVEY": str(survey), "OUTPUT_FOLDER": str(folder), "LINES": "A1"}
    assert run("radargrams", parameters, Log(stop_at)) == {}
    assert [path.name for path in folder.iterdir()] == ["A1_X00_across.png"]
    assert (folder / "A1_X00_across.png").read_text() == "earlier"
