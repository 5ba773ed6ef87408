"""inslab:clearspace: definition, refusals, run, cancelling."""

from pathlib import Path

import grounds
import numpy as np
import pytest
import rasterio
from algorithms import Log, complaint, outputs_of, parameters_of, run


@pytest.fixture
def values(inslab_provider, qgis_processing, tmp_path):
    """Parameters of a map of 200 mm deep holes."""
    survey = grounds.write_survey(tmp_path / "survey.gpkg")
    output = str(tmp_path / "clear.tif")
    return {"SURVEY": str(survey), "DEPTH": 0.2, "KEEP_OUT": 0.015, "TOLERANCE": 0.002, "OUTPUT": output}


def test_definition(inslab_provider):
    found = parameters_of("clearspace")
    assert found["DEPTH"] == ("number", 0.1, False)
    assert found["CELL"] == ("number", 0.005, False)
    assert found["OUTPUT"][0] == "rasterDestination"
    assert outputs_of("clearspace") == {"OUTPUT", "KNOWN_AREA", "FREE_AREA"}


def test_run(values):
    outputs = run("clearspace", values)
    with rasterio.open(values["OUTPUT"]) as file:
        cells = file.read(1, masked=True)
        assert file.nodata == -9999.0
        assert "UNKNOWN" in file.descriptions[0]
        assert "does not guarantee" in file.tags(1)["caution"]

        def at(x, y):
            return cells[file.index(x, y)]

        # From the centre of the cell to the bar, less 12.5 mm (largest bar), 15 mm and 1.645 sigma, to both sides.
        keep = 0.0125 + 0.015 + 1.6449 * np.hypot(grounds.SIGMA_XY, 0.002)
        for x in (1.2025, 1.1725, 1.2325):
            assert at(x, 1.0) == pytest.approx(2 * (min(x - 1.1, 1.3 - x) - keep), abs=2e-4)
        assert at(1.1025, 1.0) == 0.0
        assert at(1.2025, 0.0075) is np.ma.masked  # close to the edge of the scan
        assert at(1.5925, 0.4) is np.ma.masked  # below a dense mat
        assert at(3.5025, 1.0) is np.ma.masked if file.bounds.right > 3.51 else file.bounds.right <= 3.01
        known = np.ma.count(cells) * 0.005**2
    assert 4.0 < outputs["KNOWN_AREA"] < 6.0  # of 3 m x 2 m
    assert outputs["KNOWN_AREA"] == pytest.approx(known)
    assert 0 < outputs["FREE_AREA"] < outputs["KNOWN_AREA"]


def test_deeper_than_seen_is_all_unknown(values):
    outputs = run("clearspace", {**values, "DEPTH": 0.3})
    assert outputs["KNOWN_AREA"] == 0.0
    with rasterio.open(values["OUTPUT"]) as file:
        assert file.read(1, masked=True).mask.all()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"SURVEY": "nowhere.gpkg"}, "There is no file"),
        ({"DEPTH": -1}, "DEPTH"),
        ({"KEEP_OUT": "nonsense"}, "KEEP_OUT"),
        ({"OUTPUT": "clear.png"}, "GeoTIFF"),
    ],
)
def test_refusals(values, changed, sentence):
    assert complaint("clearspace", values) == ""
    assert sentence in complaint("clearspace", {**values, **changed})


@pytest.mark.parametrize("stop_at", [0])
def test_cancelled_leaves_the_earlier_map(values, stop_at):
    run("clearspace", values)
    before = Path(values["OUTPUT"]).read_bytes()
    assert run("clearspace", values, Log(stop_at)) == {}
    assert Path(values["OUTPUT"]).read_bytes() == before
