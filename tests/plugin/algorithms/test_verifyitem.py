"""inslab:verifyitem: definition, refusals, and a core that corrects its area."""

import pytest
from algorithms import complaint, outputs_of, parameters_of, run
from records import read_record

from inslab.processing.store.geopackage import read_layer


@pytest.fixture
def record(processed, tmp_path, inslab_provider, qgis_processing):
    path = str(tmp_path / "building.gpkg")
    run("updaterecord", {"SURVEY": processed[0]["SURVEY"], "RECORD": path})
    return path


def items_of(record, on=""):
    return {row["item_id"]: row for _, row in read_record(record, on)["items"]}


def test_definition(inslab_provider):
    found = parameters_of("verifyitem")
    assert found["OUTCOME"] == ("enum", "verified", False)
    assert found["METHOD"] == ("enum", "core", False)
    assert found["DEPTH"] == ("number", None, True)
    assert {name for name, (_, _, optional) in found.items() if not optional} == {
        *("RECORD", "ITEM", "OUTCOME", "METHOD", "VERIFIED_ON", "DEPTH_SIGMA")
    }
    assert outputs_of("verifyitem") == {"ITEMS", "VERIFICATION_ID", "MOVED_COUNT", "AREA_COUNT"}


def test_refusals(record, tmp_path):
    from qgis.core import QgsProcessingException

    given = {"RECORD": record, "ITEM": "I1", "VERIFIED_ON": "2031-09-01"}
    assert "There is no record" in complaint("verifyitem", {**given, "RECORD": str(tmp_path / "none.gpkg")})
    with pytest.raises(QgsProcessingException, match="no item I99"):
        run("verifyitem", {**given, "ITEM": "I99"})
    with pytest.raises(QgsProcessingException, match="is not a date"):
        run("verifyitem", {**given, "VERIFIED_ON": "1 September"})
    with pytest.raises(QgsProcessingException, match="m from item"):
        run("verifyitem", {**given, "PLACE": "0,0"})


def test_a_core_corrects_its_area_and_history_keeps_what_was(record):
    before = items_of(record)
    name, item = max(before.items(), key=lambda pair: pair[1]["depth_min_m"])
    found = round(item["depth_min_m"] + item["sigma_depth_m"], 4)
    given = {"RECORD": record, "ITEM": name, "VERIFIED_ON": "2031-09-01", "VERIFIED_BY": "B. Driller"}
    given.update(DEPTH=found, DEPTH_SIGMA=0.001, KIND="bar", PHOTO="core 1.jpg", NOTE="dry")
    outputs = run("verifyitem", given)
    assert (outputs["VERIFICATION_ID"], outputs["AREA_COUNT"]) == ("V1", 1)
    same_area = [key for key, row in before.items() if row["area_ids"] == item["area_ids"]]
    assert outputs["MOVED_COUNT"] == len(same_area) > 1
    after = items_of(record)
    assert after[name]["status"] == "verified"
    assert after[name]["depth_min_m"] == pytest.approx(found, abs=0.001)
    for key in same_area:
        assert after[key]["sigma_depth_m"] <= before[key]["sigma_depth_m"]
        assert after[key]["depth_min_m"] > before[key]["depth_min_m"]
    assert items_of(record, "2031-08-31") == before
    assert run("verifyitem", given)["VERIFICATION_ID"] == ""  # the same core again changes nothing
    assert items_of(record) == after


def test_an_item_is_refuted_without_a_depth(record):
    given = {"RECORD": record, "ITEM": "I2", "OUTCOME": "refuted", "METHOD": "breakout", "VERIFIED_ON": "2031-09-01"}
    assert run("verifyitem", given)["MOVED_COUNT"] == 0
    assert items_of(record)["I2"]["status"] == "refuted"


def test_estimating_anew_with_the_known_depth_comes_to_the_same(record, survey_with_speeds, tmp_path):
    """The survey's own way of using a core (`known_depths.csv`, all lines read again) and the record's, which needs no files."""
    areas = {row["area_id"]: row for _, row in read_record(record)["scan_areas"]}
    _, item = next(pair for pair in read_record(record)["items"] if pair[1]["area_ids"] == areas["A1"]["area_key"])
    course = next(course for course, row in read_record(record)["items"] if row["item_id"] == item["item_id"])
    x, y, height = (sum(values) / 2 for values in zip(course[0], course[-1]))
    found = round(-height + 0.002, 4)
    run("verifyitem", {"RECORD": record, "ITEM": item["item_id"], "VERIFIED_ON": "2031-09-01", "DEPTH": found})
    (by_record,) = (row for _, row in read_record(record)["scan_areas"] if row["area_id"] == "A1")
    table = tmp_path / "known.csv"
    columns = "area_id,feature,local_x_m,local_y_m,depth_m,sigma_m"
    table.write_text(f"{columns}\nA1,item,{x - 10:.4f},{y - 20:.4f},{found},0.003\n", encoding="utf-8")
    run("wavespeed", {"SURVEY": str(survey_with_speeds), "KNOWN_DEPTHS": str(table)})
    (anew,) = (row for _, row in read_layer(survey_with_speeds, "wave_speeds") if row["area_id"] == "A1")
    assert anew["method"].endswith("1 known")
    assert by_record["speed_m_ns"] != pytest.approx(by_record["survey_speed_m_ns"], rel=1e-3)
    # Apart by the rounding of what is stored and by how an item's depth is averaged along it: a fraction of the sigmas.
    assert by_record["speed_m_ns"] == pytest.approx(anew["speed_m_ns"], abs=0.1 * anew["sigma_m_ns"])
    assert by_record["sigma_m_ns"] == pytest.approx(anew["sigma_m_ns"], rel=0.03)
    assert by_record["time_zero_ns"] == pytest.approx(anew["time_zero_ns"], abs=0.1 * anew["sigma_time_zero_ns"])
    assert by_record["correlation"] == pytest.approx(anew["correlation"], abs=0.03)
