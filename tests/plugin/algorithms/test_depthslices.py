"""inslab:depthslices: definition, run, cancelling (refusals: test_wavespeed.py)."""

import numpy as np
import pytest
import rasterio
import surveys
from algorithms import Log, outputs_of, parameters_of, run


def test_definition(inslab_provider):
    assert parameters_of("depthslices") == {
        "SURVEY": ("file", None, False),
        "DEPTH_STEP": ("number", 0.01, False),
        "MAX_DEPTH": ("number", None, True),
        "CELL": ("number", 0.01, False),
        "OUTPUT_FOLDER": ("folderDestination", None, False),
    }
    assert outputs_of("depthslices") == {"OUTPUT_FOLDER", "RASTER_COUNT"}


def test_run_shows_a_bar_where_it_lies(survey_with_speeds, tmp_path):
    folder = tmp_path / "out"
    parameters = {
        "SURVEY": str(survey_with_speeds),
        "OUTPUT_FOLDER": str(folder),
        "DEPTH_STEP": 0.02,
        "MAX_DEPTH": 0.12,
    }
    outputs = run("depthslices", parameters)
    assert outputs["RASTER_COUNT"] >= 3  # two areas and their level
    with rasterio.open(folder / "slices" / "Level 1.tif") as file:
        assert file.count == 6
        assert file.descriptions[3] == "0.060-0.080 m"
        cube = file.read(masked=True).filled(np.nan)
        position, _depth = surveys.BARS["x"][1]

        def strongest(x):
            """Strongest echo over all depths at a place of area A1 between two lines and away from bars across."""
            row, column = file.index(*surveys.to_site("A1", (x, 0.28)))
            return np.nanmax(cube[:, row, column])

        assert strongest(position) > strongest(position + 0.1) + 6.0  # twice the amplitude of bare concrete, at least


def test_run_is_refused_where_a_value_is_out_of_range(survey, tmp_path):
    from algorithms import complaint

    parameters = {"SURVEY": str(survey), "OUTPUT_FOLDER": str(tmp_path / "out")}
    assert complaint("depthslices", parameters) == ""
    for name in ("CELL", "DEPTH_STEP", "MAX_DEPTH"):
        assert complaint("depthslices", {**parameters, name: -0.01})


@pytest.mark.parametrize("stop_at", [0, 40])
def test_cancelled_leaves_the_earlier_slices(survey_with_speeds, tmp_path, stop_at):
    folder = tmp_path / "out"
    (folder / "slices").mkdir(parents=True)
    (folder / "slices" / "A1.tif").write_text("earlier")
    before = survey_with_speeds.read_bytes()
    assert run("depthslices", {"SURVEY": str(survey_with_speeds), "OUTPUT_FOLDER": str(folder)}, Log(stop_at)) == {}
    assert [path.name for path in folder.rglob("*") if path.is_file()] == ["A1.tif"]
    assert survey_with_speeds.read_bytes() == before
