"""inslab:withdrawverification: definition, refusals, and a record that is as if the verification had never been entered."""

import pytest
from algorithms import complaint, outputs_of, parameters_of, run
from qgis.core import QgsProcessingException
from records import read_record


@pytest.fixture
def record(processed, tmp_path, inslab_provider, qgis_processing):
    """A record in which a core was entered for the wrong item, 5 mm deeper than it lies."""
    path = str(tmp_path / "building.gpkg")
    run("updaterecord", {"SURVEY": processed[0]["SURVEY"], "RECORD": path})
    name, item = max(rows(path, "items").items(), key=lambda pair: pair[1]["depth_min_m"])
    given = {"RECORD": path, "ITEM": name, "VERIFIED_ON": "2031-09-01", "VERIFIED_BY": "B. Driller", "NOTE": "dry"}
    run("verifyitem", {**given, "DEPTH": item["depth_min_m"] + 0.005, "KIND": "tendon"})
    return path


def rows(record, table, on=""):
    key = {"items": "item_id", "scan_areas": "area_key", "coverage": "coverage_id", "verifications": "verification_id"}
    return {row[key[table]]: (row | {"geom": place}) for place, row in read_record(record, on)[table]}


def given(record, **more):
    words = {"VERIFICATION": "V1", "WITHDRAWN_ON": "2031-09-02", "WITHDRAWN_BY": "F. Keeper", "WHY": "wrong item"}
    return {"RECORD": record, **words, **more}


def test_definition(inslab_provider):
    found = parameters_of("withdrawverification")
    assert {name for name, (_, _, optional) in found.items() if optional} == {"WITHDRAWN_BY"}
    assert outputs_of("withdrawverification") == {"ITEMS", "MOVED_COUNT", "AREA_COUNT"}


def test_refusals(record, tmp_path):
    assert "There is no record" in complaint("withdrawverification", given(str(tmp_path / "none.gpkg")))
    for changed, sentence in (
        ({"VERIFICATION": "V9"}, "no verification V9; it has: V1"),
        ({"WITHDRAWN_ON": "tomorrow"}, "date of the withdrawal 'tomorrow' is not a date"),
        ({"WHY": " "}, "Say why"),
    ):
        with pytest.raises(QgsProcessingException, match=sentence):
            run("withdrawverification", given(record, **changed))
    run("withdrawverification", given(record))
    with pytest.raises(
        QgsProcessingException, match=r"already been withdrawn: dry Withdrawn on 2031-09-02 by F\. Keeper: wrong item"
    ):
        run("withdrawverification", given(record))


def test_all_is_as_if_it_had_never_been_entered_and_history_keeps_both(record):
    tables = ("items", "scan_areas", "coverage")
    before = {table: rows(record, table, "2031-08-31") for table in tables}
    between = {table: rows(record, table) for table in tables}
    assert between != before
    moved = run("withdrawverification", given(record))
    assert (moved["AREA_COUNT"], moved["MOVED_COUNT"] > 1) == (1, True)
    assert {table: rows(record, table) for table in tables} == before
    assert {table: rows(record, table, "2031-09-01") for table in tables} == between
    (one,) = rows(record, "verifications").values()
    assert (one["verification_id"], one["outcome"], one["verified_on"]) == ("V1", "withdrawn", "2031-09-01")
    assert rows(record, "verifications", "2031-09-01")["V1"]["outcome"] == "verified"


def test_the_right_one_can_be_entered_afterwards_under_a_name_of_its_own(record):
    wrong = rows(record, "verifications")["V1"]
    run("withdrawverification", given(record))
    again = {"RECORD": record, "ITEM": wrong["item_id"], "VERIFIED_ON": "2031-09-01", "DEPTH": wrong["depth_m"]}
    assert (
        run("verifyitem", {**again, "VERIFIED_BY": "B. Driller", "NOTE": "dry", "KIND": "tendon"})["VERIFICATION_ID"]
        == "V2"
    )
    assert rows(record, "items")[wrong["item_id"]]["status"] == "verified"
