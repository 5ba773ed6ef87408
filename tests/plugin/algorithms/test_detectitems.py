"""inslab:detectitems: definition, run, cancelling (refusals: test_wavespeed.py)."""

import pytest
from algorithms import Log, outputs_of, parameters_of, run
from qgis.core import QgsVectorLayer, QgsWkbTypes


def test_definition(inslab_provider):
    assert parameters_of("detectitems") == {"SURVEY": ("file", None, False)}
    kinds = {"BAR_COUNT", "TENDON_COUNT", "METAL_CONDUIT_COUNT", "PLASTIC_CONDUIT_COUNT", "UNKNOWN_COUNT"}
    assert outputs_of("detectitems") == {"PICKS", "ITEMS", "ITEM_COUNT", *kinds}


def test_run_writes_picks_and_items(survey_with_speeds):
    outputs = run("detectitems", {"SURVEY": str(survey_with_speeds)})
    items = QgsVectorLayer(outputs["ITEMS"], "", "ogr")
    picks = QgsVectorLayer(outputs["PICKS"], "", "ogr")
    assert items.wkbType() == QgsWkbTypes.Type.LineString25D or items.wkbType() == QgsWkbTypes.Type.LineStringZ
    assert items.featureCount() == outputs["ITEM_COUNT"] > 0
    assert sum(outputs[name] for name in outputs if name.endswith("_COUNT")) == 2 * outputs["ITEM_COUNT"]
    ids = {row["item_id"] for row in items.getFeatures()}
    assert {row["item_id"] for row in picks.getFeatures()} <= ids
    assert sum(row["pick_count"] for row in items.getFeatures()) == picks.featureCount()


@pytest.mark.parametrize("stop_at", [0, 40])
def test_cancelled_leaves_the_survey_as_it_was(survey_with_speeds, stop_at):
    before = survey_with_speeds.read_bytes()
    assert run("detectitems", {"SURVEY": str(survey_with_speeds)}, Log(stop_at)) == {}
    assert survey_with_speeds.read_bytes() == before
