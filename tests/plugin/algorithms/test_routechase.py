"""inslab:routechase: definition, refusals, run, cancelling."""

from pathlib import Path

import grounds
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsFeature, QgsGeometry, QgsProcessingException, QgsRectangle, QgsVectorLayer


@pytest.fixture
def values(inslab_provider, qgis_processing, tmp_path):
    """A cut 60 mm deep across the bars at x 1.1 and 1.3, between the middles of two bays."""
    return {
        "SURVEY": str(grounds.write_survey(tmp_path / "survey.gpkg")),
        "START": "1.0,1.0",
        "END": "1.4,1.0",
        "DEPTH": 0.06,
        "WIDTH": 0.02,
        "KEEP_OUT": 0.015,
        "OUTPUT": str(tmp_path / "chase.gpkg"),
    }


def chase_of(path):
    return next(QgsVectorLayer(f"{path}|layername=chases", "", "ogr").getFeatures())


def test_definition(inslab_provider):
    found = parameters_of("routechase")
    assert found["START"] == ("point", None, False)
    assert found["CROSS_KINDS"] == ("enum", None, True)
    assert outputs_of("routechase") == {"OUTPUT", "LENGTH", "CROSSED_ITEMS", "CROSSED_COUNT"}


def test_bars_are_in_the_way(values):
    with pytest.raises(QgsProcessingException, match="There is no route for a chase 60 mm deep"):
        run("routechase", values)
    assert not Path(values["OUTPUT"]).exists()


def test_bars_that_may_be_crossed(values):
    outputs = run("routechase", {**values, "CROSS_KINDS": ["bar"]})
    assert outputs["CROSSED_ITEMS"] == "B06,B07"
    assert outputs["LENGTH"] == pytest.approx(0.4, abs=1e-9)  # straight on
    assert chase_of(values["OUTPUT"])["crossed_items"] == "B06, B07"


def test_only_where_crossing_is_allowed(values):
    layer = QgsVectorLayer("Polygon", "", "memory")
    feature = QgsFeature()
    feature.setGeometry(QgsGeometry.fromRect(QgsRectangle(0.9, 1.2, 1.5, 1.3)))
    layer.dataProvider().addFeature(feature)
    outputs = run("routechase", {**values, "CROSS_KINDS": ["bar"], "CROSSING_AREAS": layer})
    assert outputs["CROSSED_COUNT"] == 2
    line = chase_of(values["OUTPUT"])
    assert line["bend_count"] >= 2
    points = [(point.x(), point.y()) for point in line.geometry().asPolyline()]
    assert points[0] == (1.0, 1.0)
    assert points[-1] == (1.4, 1.0)
    for bar in (1.1, 1.3):  # where the axis crosses the bar
        (x0, y0), (x1, y1) = next(pair for pair in zip(points[:-1], points[1:]) if pair[0][0] <= bar < pair[1][0])
        assert 1.2 <= y0 + (bar - x0) / (x1 - x0) * (y1 - y0) <= 1.3
    assert outputs["LENGTH"] < 0.4 + 2 * 0.25


def test_a_shallow_cut_passes_over_the_bars(values):
    # Top of the bars 40 mm; needed below the cut: 15 mm and 1.645 x 6.4 mm (depth of bar 4 mm, of cut 5 mm).
    outputs = run("routechase", {**values, "DEPTH": 0.014})
    assert outputs["CROSSED_COUNT"] == 0
    assert outputs["LENGTH"] == pytest.approx(0.4, abs=1e-9)
    assert chase_of(values["OUTPUT"])["reason"] == "Keeps its distance from all known items."


@pytest.mark.parametrize(
    ("place", "sentence"), [("1.1,1.0", "cannot start there. Hits"), ("3.5,1.0", "cannot start there. Unknown")]
)
def test_an_end_that_may_not_be_cut_is_explained(values, place, sentence):
    with pytest.raises(QgsProcessingException, match=sentence):
        run("routechase", {**values, "START": place})


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [({"SURVEY": "nowhere.gpkg"}, "There is no file"), ({"WIDTH": 0}, "WIDTH"), ({"KEEP_OUT": "x"}, "KEEP_OUT")],
)
def test_refusals(values, changed, sentence):
    assert complaint("routechase", values) == ""
    assert sentence in complaint("routechase", {**values, **changed})


@pytest.mark.parametrize("stop_at", [0, 40])
def test_cancelled_leaves_the_earlier_result(values, stop_at):
    allowed = {**values, "CROSS_KINDS": ["bar"]}
    run("routechase", allowed)
    before = Path(values["OUTPUT"]).read_bytes()
    assert run("routechase", {**allowed, "START": "1.0,0.9"}, Log(stop_at)) == {}
    assert Path(values["OUTPUT"]).read_bytes() == before
