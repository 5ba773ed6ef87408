"""Editing in QGIS itself: its forms, its edit buffer, a run while the layers are open, and the same layers after it."""

import sqlite3
from contextlib import closing

import numpy as np
import pytest
import stand_ins
from algorithms import complaint
from qgis.core import QgsGeometry, QgsPoint, QgsPointXY, QgsProject, QgsVectorLayerUtils

from inslab.plugin.project import layers
from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.store.geopackage import read_layer


@pytest.fixture
def project(qgis_app):
    project = QgsProject.instance()
    project.clear()
    yield project
    project.clear()


@pytest.fixture
def survey_path(tmp_path, monkeypatch):
    """survey.gpkg with three items through the areas A1 and A2."""
    calls = stand_ins.stand_in(monkeypatch)
    bars = [((0.0, y, 0.05), (0.4, y, 0.05)) for y in (0.1, 0.2, 0.3)]
    calls.bars = dict.fromkeys(stand_ins.AREAS, bars)
    path = tmp_path / "survey.gpkg"
    read_survey_step(stand_ins.write_survey(tmp_path / "job"), path)
    detect_items_step(path)
    return path


def shown(project, group, title):
    return next(
        node.layer() for node in project.layerTreeRoot().findGroup(group).findLayers() if node.name().startswith(title)
    )


def features(layer, key="item_id"):
    """By id, without those of the area that has no position."""
    return {feature[key]: feature for feature in layer.getFeatures() if feature.hasGeometry()}


def test_forms_offer_the_kinds_and_fill_in_what_a_new_row_needs(project, survey_path):
    layers.show_result(project, survey_path)
    for group, surface in (("L1", "top"), ("L1 (seen from below)", "soffit")):
        layer = shown(project, group, "Items")
        config = layer.editorWidgetSetup(layer.fields().indexOf("kind")).config()
        assert [value for entry in config["map"] for value in entry.values()] == list(KINDS)
        new = QgsVectorLayerUtils.createFeature(layer, QgsGeometry())
        assert (new["level"], new["surface"], new["source"], new["kind"]) == ("L1", surface, "surveyor", "unknown")
        assert (new["sigma_xy_m"], new["sigma_depth_m"], new["confidence"]) == (0.01, 0.01, 1.0)
        assert layer.editFormConfig().readOnly(layer.fields().indexOf("p_bar"))
        assert not layer.editFormConfig().readOnly(layer.fields().indexOf("depth_min_m"))


def test_edits_in_qgis_survive_a_run_while_the_layers_are_open(project, survey_path):
    layers.show_result(project, survey_path)
    items, picks = shown(project, "L1", "Items"), shown(project, "L1", "Picks")
    found = features(items)
    assert set(found) == {"A1-1", "A1-2", "A1-3"}  # those of the soffit and the wall have layers of their own

    assert items.startEditing()
    moved = QgsGeometry(found["A1-1"].geometry())
    moved.translate(0.0, 0.03)
    assert items.changeGeometry(found["A1-1"].id(), moved)
    assert items.changeAttributeValue(found["A1-2"].id(), items.fields().indexOf("kind"), "tendon")
    assert items.deleteFeature(found["A1-3"].id())
    drawn = QgsGeometry.fromPolyline([QgsPoint(10.05, 20.02, 0.0), QgsPoint(10.35, 20.05, 0.0)])
    new = QgsVectorLayerUtils.createFeature(items, drawn)
    for name, value in (("item_id", "mine"), ("kind", "metal_conduit"), ("depth_min_m", 0.07), ("depth_max_m", 0.07)):
        new[name] = value
    assert items.addFeature(new)
    assert items.commitChanges(), items.commitErrors()
    sources = {name: feature["source"] for name, feature in features(items).items()}
    assert sources == {"A1-1": "surveyor", "A1-2": "surveyor", "mine": "surveyor"}

    assert picks.startEditing()
    assert picks.deleteFeature(features(picks, "pick_id")["A1-1-0"].id())
    assert picks.commitChanges(), picks.commitErrors()

    for run in (detect_items_step, join_items_step):
        run(survey_path)
        layers.show_result(project, survey_path)
        found = features(items)
        assert set(found) == {"A1-1", "A1-2", "mine"}
        assert found["A1-1"].geometry().distance(moved) < 1e-6
        assert (found["A1-2"]["kind"], found["A1-2"]["p_tendon"]) == ("tendon", 1.0)
        assert (found["mine"]["area_ids"], found["mine"]["depth_min_m"]) == ("A1,A2", 0.07)
        assert {vertex.z() for vertex in found["mine"].geometry().vertices()} == {-0.07}
        assert "A1-1-0" not in features(picks, "pick_id")
        assert len(features(picks, "pick_id")) == 29
    set_aside = project.mapLayersByName("Set aside by the surveyor")[0]
    assert sorted((row["layer"], row["row_id"]) for row in set_aside.getFeatures()) == [
        *(("items", f"A1-{number}") for number in (1, 2, 3)),
        ("picks", "A1-1-0"),
    ]


def test_a_row_taken_out_of_the_table_in_qgis_comes_back(project, survey_path):
    layers.show_result(project, survey_path)
    items = shown(project, "L1", "Items")
    assert items.startEditing()
    assert items.deleteFeature(features(items)["A1-2"].id())
    assert items.commitChanges()
    join_items_step(survey_path)
    layers.show_result(project, survey_path)
    assert set(features(items)) == {"A1-1", "A1-3"}
    set_aside = project.mapLayersByName("Set aside by the surveyor")[0]
    assert set_aside.startEditing()
    assert set_aside.deleteFeature(next(set_aside.getFeatures()).id())
    assert set_aside.commitChanges()
    join_items_step(survey_path)
    layers.show_result(project, survey_path)
    assert set(features(items)) == {"A1-1", "A1-2", "A1-3"}


def test_a_split_in_qgis_leaves_two_items(project, survey_path):
    layers.show_result(project, survey_path)
    items = shown(project, "L1", "Items")
    assert items.startEditing()
    # The newer call of the same name, with points that have heights, is unknown to QGIS 3.22.
    assert items.splitFeatures([QgsPointXY(10.35, 20.15), QgsPointXY(10.35, 20.25)], False) == 0
    assert items.commitChanges(), items.commitErrors()
    join_items_step(survey_path)
    lines = [line for line, row in read_layer(survey_path, "items") if row["item_id"].startswith("A1-2")]
    ends = sorted(np.round(line[:, 0].min(), 2) for line in lines)
    assert ends == [10.0, 10.35]
    assert all(line[:, 2] == pytest.approx(-0.05) for line in lines)


@pytest.mark.parametrize("name", ["joinitems", "detectitems", "fitareas", "processsurvey", "readsurvey"])
def test_a_run_is_refused_while_changes_are_not_saved(project, survey_path, name, inslab_provider):
    """A run writes all rows anew: changes saved after it would hit others than those that were meant."""
    parameters = {"SURVEY": str(survey_path)}
    if name in ("processsurvey", "readsurvey"):
        parameters.update(SURVEY_FOLDER=str(survey_path.parent / "job"), OUTPUT_FOLDER=str(survey_path.parent))
    layers.show_result(project, survey_path)
    items = shown(project, "L1", "Items")
    assert complaint(name, parameters) == ""
    assert items.startEditing()
    assert complaint(name, parameters) == (
        "Save the changes to Items, depth to top in mm and stop editing: they are not in the file yet."
    )
    assert items.rollBack()
    assert complaint(name, parameters) == ""


def test_the_file_is_sound_after_edits_and_runs_in_turn(project, survey_path):
    layers.show_result(project, survey_path)
    items = shown(project, "L1", "Items")
    for number in (1, 2, 3):
        assert items.startEditing()
        assert items.deleteFeature(features(items)[f"A1-{number}"].id())
        assert items.commitChanges(), items.commitErrors()
        join_items_step(survey_path)
        items.dataProvider().reloadData()
        assert len(features(items)) == 3 - number
        with closing(sqlite3.connect(survey_path)) as file:
            assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    project.clear()
    left = {path.name for path in survey_path.parent.glob("*survey.gpkg*")}
    assert left <= {"survey.gpkg", "survey.gpkg.aux.xml"}  # the latter is QGIS's own, from 3.40 on
