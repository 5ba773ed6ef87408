"""inslab:updaterecord: definition, refusals, runs into both stores, cancelling."""

import shutil

import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import QgsDataSourceUri, QgsProviderRegistry, QgsVectorLayer

PARAMETERS = {
    "SURVEY": ("file", None, False),
    "RECORD": ("file", None, False),
    "PENETRATIONS": ("file", None, True),
    "RECORDED_ON": ("string", None, True),
    "RECORDED_BY": ("string", None, True),
}


@pytest.fixture
def inputs(processed, tmp_path):
    return {"SURVEY": processed[0]["SURVEY"], "RECORD": str(tmp_path / "building.gpkg")}


@pytest.fixture
def connection(postgis, monkeypatch):
    """Name of a PostGIS connection of QGIS."""
    metadata = QgsProviderRegistry.instance().providerMetadata("postgres")
    metadata.saveConnection(
        metadata.createConnection(QgsDataSourceUri(postgis).uri(), {"saveUsername": True}), "records"
    )
    yield "records"
    metadata.deleteConnection("records")


def test_definition(inslab_provider):
    assert parameters_of("updaterecord") == PARAMETERS
    counts = {"NEW_COUNT", "KNOWN_COUNT", "FLAG_COUNT", "CHANGE_COUNT"}
    assert outputs_of("updaterecord") == {"SURVEY_ID", "ITEMS", *counts}


def test_refusals(inslab_provider, qgis_processing, inputs, survey, tmp_path):
    from qgis.core import QgsProcessingException

    assert "There is no file" in complaint("updaterecord", {**inputs, "SURVEY": str(tmp_path / "none.gpkg")})
    assert "ends in .gpkg" in complaint("updaterecord", {**inputs, "RECORD": str(tmp_path / "record.txt")})
    assert "no PostGIS connection nowhere" in complaint("updaterecord", {**inputs, "RECORD": "postgres:nowhere/a"})
    assert "There is no file" in complaint("updaterecord", {**inputs, "PENETRATIONS": str(tmp_path / "p.gpkg")})
    with pytest.raises(QgsProcessingException, match="no items yet"):
        run("updaterecord", {**inputs, "SURVEY": str(survey)})
    with pytest.raises(QgsProcessingException, match="is not a date"):
        run("updaterecord", {**inputs, "RECORDED_ON": "today"})
    with pytest.raises(QgsProcessingException, match="but not a record"):
        run("updaterecord", {**inputs, "RECORD": str(survey)})
    assert not (tmp_path / "building.gpkg").exists()


def check_runs(inputs, provider):
    log = Log()
    outputs = run("updaterecord", inputs, log)
    items = QgsVectorLayer(outputs["ITEMS"], "items", provider)
    assert items.isValid()
    assert items.featureCount() == outputs["NEW_COUNT"] > 0
    assert outputs["SURVEY_ID"] == "S1"
    assert items.crs().isValid()
    assert not items.extent().isEmpty()
    assert "Survey S1 is new in the record." in log.lines
    again = run("updaterecord", inputs)
    assert (again["CHANGE_COUNT"], again["NEW_COUNT"]) == (0, 0)
    return items


def test_run_into_a_geopackage(inslab_provider, qgis_processing, inputs):
    items = check_runs(inputs, "ogr")
    assert {row["status"] for row in items.getFeatures()} == {"detected"}


def test_run_into_a_connection_of_qgis(inslab_provider, qgis_processing, inputs, connection):
    check_runs({**inputs, "RECORD": f"postgres:{connection}/job1"}, "postgres")


def test_both_stores_hold_the_same(inslab_provider, qgis_processing, inputs, postgis):
    from records import read_record

    run("updaterecord", inputs)
    database = f"{postgis} schema=twin"
    run("updaterecord", {**inputs, "RECORD": database})
    file, server = read_record(inputs["RECORD"]), read_record(database)
    assert file == server
    assert len(file["items"]) > 0


def test_penetrations_are_recorded_too(inslab_provider, qgis_processing, inputs, tmp_path):
    from records import read_record

    table = tmp_path / "penetrations.csv"
    table.write_text("penetration_id,x_m,y_m,diameter_m,depth_m\nP1,10.3,20.3,0.02,0.05\n", encoding="utf-8")
    verdicts = str(tmp_path / "verdicts.gpkg")
    inputs["SURVEY"] = shutil.copy(
        inputs["SURVEY"], str(tmp_path / "survey.gpkg")
    )  # a check notes itself in the survey
    run(
        "checkpenetrations",
        {"SURVEY": inputs["SURVEY"], "PENETRATIONS": str(table), "KEEP_OUT": [0.01], "OUTPUT": verdicts},
    )
    run("updaterecord", {**inputs, "PENETRATIONS": verdicts})
    place, row = read_record(inputs["RECORD"])["penetrations"][0]
    assert place == [10.3, 20.3]
    assert (row["penetration_key"], row["level"], row["surface"]) == ("S1/P1", "Level 1", "top")
    assert row["verdict"]
    assert run("updaterecord", {**inputs, "PENETRATIONS": verdicts})["CHANGE_COUNT"] == 0


def test_cancelled_leaves_the_record_as_it_was(inslab_provider, qgis_processing, inputs):
    from records import read_record

    assert run("updaterecord", inputs, Log(stop_at=40)) == {}
    assert read_record(inputs["RECORD"])["items"] == []
    run("updaterecord", inputs)
    assert read_record(inputs["RECORD"])["items"]
