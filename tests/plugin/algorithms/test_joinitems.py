"""inslab:joinitems: definition, refusals, run, cancelling."""

import shutil

import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsVectorLayer


@pytest.fixture
def detected(processed, tmp_path):
    """A copy of the processed survey, beside which its line files lie."""
    outputs, _ = processed
    return shutil.copy(outputs["SURVEY"], tmp_path / "survey.gpkg")


def test_definition(inslab_provider):
    assert parameters_of("joinitems") == {"SURVEY": ("file", None, False)}
    kinds = {"BAR_COUNT", "TENDON_COUNT", "METAL_CONDUIT_COUNT", "PLASTIC_CONDUIT_COUNT", "UNKNOWN_COUNT"}
    assert outputs_of("joinitems") == {"PICKS", "ITEMS", "ITEM_COUNT", "FLAG_COUNT", *kinds}


def test_refusals(inslab_provider, qgis_processing, survey, tmp_path):
    from qgis.core import QgsProcessingException

    assert "There is no file" in complaint("joinitems", {"SURVEY": str(tmp_path / "s.gpkg")})
    with pytest.raises(QgsProcessingException, match="no items yet"):
        run("joinitems", {"SURVEY": str(survey)})


def test_run_gives_the_same_items_again(inslab_provider, detected):
    before = QgsVectorLayer(f"{detected}|layername=items", "", "ogr")
    expected = {row["item_id"]: (row["area_ids"], row.geometry().asWkt(4)) for row in before.getFeatures()}
    del before
    outputs = run("joinitems", {"SURVEY": str(detected)})
    items = QgsVectorLayer(outputs["ITEMS"], "", "ogr")
    assert {row["item_id"]: (row["area_ids"], row.geometry().asWkt(4)) for row in items.getFeatures()} == expected
    assert outputs["ITEM_COUNT"] == len(expected) > 0
    assert outputs["FLAG_COUNT"] == 0  # the two areas do not overlap
    assert QgsVectorLayer(outputs["PICKS"], "", "ogr").featureCount() > 0


def test_cancelled_leaves_the_survey_as_it_was(inslab_provider, detected):
    before = detected.read_bytes()
    assert run("joinitems", {"SURVEY": str(detected)}, Log(stop_at=40)) == {}
    assert detected.read_bytes() == before
