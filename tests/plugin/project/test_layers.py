"""The layers of a result in a project: groups, filters, one slice at a time, and again after a second run."""

import shutil
from pathlib import Path

import pytest
from qgis.core import QgsExpression, QgsExpressionContext, QgsProject, QgsRasterLayer, QgsVectorLayer

from inslab.plugin.project import layers
from inslab.plugin.project.shown import first_visible, plane_of_layer, shown_planes
from inslab.plugin.styles import slices
from inslab.plugin.styles.items import DEPTH_LABEL


@pytest.fixture
def project(qgis_app):
    project = QgsProject.instance()
    project.clear()
    yield project
    project.clear()


def titles(group):
    return [child.name() for child in group.children()]


def test_a_result_becomes_groups_of_layers(project, processed):
    outputs, _log = processed
    layers.show_result(project, outputs["SURVEY"])
    root = project.layerTreeRoot()
    assert titles(root) == ["Level 1", "Tables"]
    group = root.findGroup("Level 1")
    shown = [
        title for table, title, _style, _shown in layers.TABLES if table not in ("bridged", "ties", "walls", "seams")
    ]
    assert titles(group)[:7] == shown  # the two areas do not overlap, so nothing ties them
    by_name = {layer.name(): layer for layer in project.mapLayers().values()}
    assert all(layer.isValid() for layer in by_name.values())
    assert by_name["Scan lines"].featureCount() == 64
    assert by_name["Control points"].featureCount() == 8
    origin = by_name["Area that each cell comes from"].renderer()
    assert [part.label for part in origin.classes()] == ["A1", "A2"]
    assert by_name["Scan areas"].crs() == project.crs()
    assert project.ellipsoid() == "NONE"
    assert "does not guarantee detection" in by_name["Items, depth to top in mm"].metadata().abstract()


def test_one_layer_holds_all_depths_and_shows_one(project, processed):
    outputs, _log = processed
    layers.show_result(project, outputs["SURVEY"])
    (layer,) = [layer for layer in project.mapLayers().values() if layer.name().startswith("Depth slice")]
    raster = QgsRasterLayer(str(Path(outputs["OUTPUT_FOLDER"]) / "slices" / "Level 1.tif"))
    expected = [(pytest.approx(0.01 * n), pytest.approx(0.01 * n + 0.01)) for n in range(raster.bandCount())]
    assert slices.band_ranges_m(layer) == expected
    # Three of five bars have their top at 50 mm.
    assert layer.name() in ("Depth slice 40-50 mm", "Depth slice 50-60 mm")
    top = slices.band_ranges_m(layer)[layer.renderer().usesBands()[0] - 1][0]
    assert f"{1000 * top:.0f}-" in layer.name()
    slices.show_band(layer, 8)
    assert (slices.shown_band(layer), layer.name()) == (8, "Depth slice 70-80 mm")
    layers.show_result(project, outputs["SURVEY"])
    (layer,) = [layer for layer in project.mapLayers().values() if layer.name().startswith("Depth slice")]
    assert slices.shown_band(layer) == 8


def test_showing_again_adds_nothing_and_keeps_the_style(project, processed):
    outputs, _log = processed
    layers.show_result(project, outputs["SURVEY"])
    names = sorted(layer.name() for layer in project.mapLayers().values())
    items = next(layer for layer in project.mapLayers().values() if layer.name().startswith("Items"))
    items.setOpacity(0.5)
    layers.show_result(project, outputs["SURVEY"])
    assert sorted(layer.name() for layer in project.mapLayers().values()) == names
    assert project.mapLayer(items.id()).opacity() == 0.5


def test_a_project_that_was_moved_with_its_survey_gets_no_layer_twice(project, processed, tmp_path):
    outputs, _log = processed
    first = Path(shutil.copytree(outputs["OUTPUT_FOLDER"], tmp_path / "here" / "result"))
    layers.show_result(project, first / "survey.gpkg")
    names = sorted(layer.name() for layer in project.mapLayers().values())
    assert project.write(str(tmp_path / "here" / "job.qgz"))
    project.clear()
    (tmp_path / "here").rename(tmp_path / "there")
    assert project.read(str(tmp_path / "there" / "job.qgz"))
    layers.show_result(project, tmp_path / "there" / "result" / "survey.gpkg")
    assert sorted(layer.name() for layer in project.mapLayers().values()) == names
    (plane,) = shown_planes(project)
    assert {"items", "slices"} <= set(plane.layers)


def test_a_project_of_the_user_keeps_its_crs(project, processed):
    outputs, _log = processed
    project.addMapLayer(QgsVectorLayer("Point?crs=EPSG:25832", "own", "memory"))
    project.setCrs(project.mapLayersByName("own")[0].crs())
    layers.show_result(project, outputs["SURVEY"])
    assert project.crs().authid() == "EPSG:25832"


def test_planes_are_told_apart_by_level_and_side():
    plane = layers.Plane("Level 1", "wall", ("W1", "W'2"))
    assert plane.title == "Level 1 (elevation of a wall)"
    assert plane.filter("items") == "\"level\" = 'Level 1' AND \"surface\" = 'wall'"
    assert plane.filter("control_points") == "\"area_id\" IN ('W1', 'W''2')"


def test_depth_label_shows_both_ends_of_an_item_that_dips(qgis_app):
    def label(shallow, deep):
        context = QgsExpressionContext()
        text = DEPTH_LABEL.replace('"depth_min_m"', str(shallow)).replace('"depth_max_m"', str(deep))
        return QgsExpression(text).evaluate(context)

    assert label(0.0451, 0.0449) == "45"
    assert label(0.045, 0.125) == "45–125"


def test_a_run_from_the_window_loads_the_result_and_a_second_one_renews_it(
    project, inslab_provider, qgis_processing, survey_copy, tmp_path, monkeypatch
):
    from qgis import processing

    monkeypatch.setattr("processing.gui.Postprocessing.iface", None, raising=False)
    parameters = {
        "SURVEY_FOLDER": str(survey_copy),
        "SURVEY": str(tmp_path / "s.gpkg"),
        "REPORT": str(tmp_path / "r.html"),
    }
    processing.runAndLoadResults("inslab:readsurvey", parameters)
    root = project.layerTreeRoot()
    assert titles(root) == ["Level 1", "Tables"]
    ellipses = "Error ellipses (95 %, 50 times enlarged)"
    assert titles(root.findGroup("Level 1")) == ["Control points", ellipses, "Scan lines", "Scan areas"]
    assert "Steps run" in titles(root.findGroup("Tables"))
    before = {layer.name() for layer in project.mapLayers().values()}
    lines = project.mapLayersByName("Scan lines")[0]
    assert len(list(lines.getFeatures())) == 64

    table = survey_copy / "scan_lines.csv"
    table.write_text("\n".join(table.read_text(encoding="utf-8").splitlines()[:-2]), encoding="utf-8")
    processing.runAndLoadResults("inslab:readsurvey", parameters)
    assert {layer.name() for layer in project.mapLayers().values()} == before
    assert len(project.mapLayers()) == len(before)
    assert len(list(project.mapLayersByName("Scan lines")[0].getFeatures())) == 62


def test_what_a_project_shows_is_found_again(project, processed):
    outputs, _log = processed
    layers.show_result(project, outputs["SURVEY"])
    (plane,) = shown_planes(project)
    assert plane.title == "Level 1"
    assert Path(plane.survey_path) == Path(outputs["SURVEY"])
    assert plane.layer("picks").name() == "Picks"
    assert plane.level_and_surface == ("Level 1", "top")
    assert plane.crs == project.crs()
    assert plane.layer("no such table") is None
    assert plane.group(project) == project.layerTreeRoot().findGroup("Level 1")
    assert plane_of_layer(project, plane.layer("slices")) == plane
    assert first_visible([plane], project) is plane
    plane.group(project).setItemVisibilityChecked(False)
    assert not plane.is_visible(project)
    assert first_visible([], project) is None
