"""What a stranger's file cannot do: bring a program, have an expression computed, have QGIS ask other computers."""

import ast
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import grounds
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.floor.result import RasterFile
from inslab.processing.store.geopackage import read_layer, replace_layers
from inslab.processing.store.layers import raster_layer
from inslab.processing.store.reading import raster_path, read_crs_wkt, read_raster_paths

ROOT = Path(__file__).resolve().parent.parent.parent
EXPRESSION = "[% 1 + 1 %] and [%'[%'%]"


@pytest.fixture
def survey_with_programs(processed, tmp_path, qgis_app):
    """A survey whose file holds default styles with a form's program, an action and a map tip."""
    from qgis.core import QgsAction, QgsEditFormConfig, QgsVectorLayer

    path = shutil.copy(processed[0]["SURVEY"], tmp_path / "survey.gpkg")
    for table in ("items", "scan_areas", "run_log"):
        layer = QgsVectorLayer(f"{path}|layername={table}", table, "ogr")
        form = layer.editFormConfig()
        form.setInitCodeSource(QgsEditFormConfig.PythonInitCodeSource.CodeSourceDialog)
        form.setInitFunction("run")
        form.setInitCode("def run(*_): raise SystemExit")
        layer.setEditFormConfig(form)
        layer.actions().addAction(QgsAction(QgsAction.ActionType.GenericPython, "run", "raise SystemExit"))
        layer.setMapTipTemplate("<img src='file://elsewhere/x.png'>")
        assert not layer.saveStyleToDatabase("default", "", True, "")
        assert holds_programs(QgsVectorLayer(f"{path}|layername={table}", table, "ogr"))  # else this would test nothing
    return path


def holds_programs(layer):
    from qgis.core import QgsEditFormConfig

    form = layer.editFormConfig().initCodeSource()
    nothing = QgsEditFormConfig.PythonInitCodeSource.CodeSourceNone
    return form != nothing or bool(layer.actions().actions()) or bool(layer.mapTipTemplate())


def test_programs_in_styles_of_the_file_are_not_taken(survey_with_programs):
    from qgis.core import QgsProject

    from inslab.plugin.project.layers import show_result

    project = QgsProject()
    show_result(project, survey_with_programs)
    layers = [layer for layer in project.mapLayers().values() if hasattr(layer, "actions")]
    assert {layer.name() for layer in layers} >= {"Scan areas", "Steps run", "Items, depth to top in mm"}
    assert not [layer.name() for layer in layers if holds_programs(layer)]


def test_nor_of_the_table_that_qgis_loads_itself(survey_with_programs):
    from qgis.core import QgsProcessingContext, QgsProcessingFeedback, QgsProject, QgsVectorLayer

    from inslab.plugin.project.layers import ResultLoader, table_source

    project = QgsProject()
    context = QgsProcessingContext()
    context.setProject(project)
    layer = QgsVectorLayer(table_source(survey_with_programs, "run_log"), "Steps run", "ogr")
    project.addMapLayer(layer)
    ResultLoader(survey_with_programs).postProcessLayer(layer, context, QgsProcessingFeedback())
    assert not holds_programs(layer)


def test_stored_queries_are_not_run(tmp_path):
    """A view in the place of a layer that would count for ever: refused at once, by name."""
    path = grounds.write_survey(tmp_path / "survey.gpkg")
    with closing(sqlite3.connect(path)) as file:
        file.execute(
            "CREATE VIEW findings AS WITH RECURSIVE n(severity) AS (SELECT 1 UNION ALL SELECT severity + 1 FROM n) SELECT * FROM n"
        )
        file.commit()
    for read in (read_layer, lambda *_: read_crs_wkt(path)):
        with pytest.raises(
            SurveyError, match=r"survey\.gpkg contains views \(stored queries\), which a survey never does"
        ):
            read(path, "findings")


def test_triggers_and_projects_of_the_file_do_nothing(processed, tmp_path, qgis_app, monkeypatch):
    """A trigger can only change rows of its own file, when they are changed; a project in it is never opened."""
    from qgis.core import QgsProject

    from inslab.plugin.project.layers import show_result

    path = shutil.copy(processed[0]["SURVEY"], tmp_path / "survey.gpkg")
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE qgis_projects (name TEXT PRIMARY KEY, metadata BLOB, content BLOB)")
        file.execute("INSERT INTO qgis_projects VALUES ('default', '', 'macros')")
        file.execute("CREATE TRIGGER a AFTER INSERT ON run_log BEGIN DELETE FROM gpkg_metadata; END")
        file.commit()
    before = {table: len(read_layer(path, table)) for table in ("items", "scan_areas", "run_log")}
    opened = []
    monkeypatch.setattr(QgsProject, "read", lambda *arguments: opened.append(arguments))
    project = QgsProject()
    show_result(project, path)
    assert opened == []
    assert project.fileName() == ""
    assert {table: len(read_layer(path, table)) for table in before} == before


def test_layouts_print_what_looks_like_an_expression(qgis_app):
    from qgis.core import QgsPrintLayout, QgsProject

    from inslab.plugin.layouts.page import Page

    project = QgsProject()
    layout = QgsPrintLayout(project)
    layout.initializeDefaults()
    label = Page(layout).text(EXPRESSION, 10, 8)
    assert label.currentText() == EXPRESSION


@pytest.mark.parametrize("level", ["1' OR '1'='1", 'L"1', "L'); DROP TABLE items; --", EXPRESSION])
def test_the_name_of_a_level_is_only_a_name(level, tmp_path, qgis_app):
    """Layers of such a level show its rows and no others."""
    from osgeo import ogr
    from qgis.core import QgsProject

    from inslab.plugin.project.layers import show_result

    path = grounds.write_survey(tmp_path / "survey.gpkg")
    file = ogr.Open(str(path), 1)
    for table, one in (("items", "item_id = 'T1'"), ("scan_areas", "area_id = 'A2'")):
        layer = file.GetLayerByName(table)
        layer.SetAttributeFilter(one)
        row = layer.GetNextFeature()
        row.SetField("level", level)
        layer.SetFeature(row)
        row = layer = None
    file = None
    project = QgsProject()
    show_result(project, path)
    root = project.layerTreeRoot()
    shown = {group.name(): group for group in root.findGroups()}
    layers = {node.layer().name(): node.layer() for node in shown[level].findLayers()}
    assert [row["item_id"] for row in layers["Items, depth to top in mm"].getFeatures()] == ["T1"]
    assert len(read_layer(path, "items")) == 19


def test_only_geotiffs_of_this_computer_are_opened(tmp_path):
    path = grounds.write_survey(tmp_path / "survey.gpkg")
    (tmp_path / "good.tif").write_bytes(b"II*\0")
    (tmp_path / "list.tif").write_bytes(b"<VRTDataset/>")
    names = ["good.tif", "list.tif", "/vsicurl/file.tif", r"\\elsewhere\share\x.tif", "//elsewhere/x.tif", "a\0b", "."]
    assert [name for name in names if raster_path(path, name)] == ["good.tif"]
    rasters = [RasterFile(tmp_path / name, "slices", "Level 1", "top") for name in ("good.tif", "list.tif")]
    replace_layers(path, [raster_layer(rasters, tmp_path)], read_crs_wkt(path))
    assert [found.name for found in read_raster_paths(path)] == ["good.tif"]


def test_a_picture_is_what_its_name_says(tmp_path):
    from inslab.processing.drawings.onto_grid import write_picture
    from inslab.processing.site.crs import local_crs_wkt
    from inslab.processing.site.drawing_fit import SIMILARITY, DrawingPair, fit_drawing

    path = tmp_path / "plan.png"
    path.write_text(
        '<VRTDataset rasterXSize="1" rasterYSize="1"><VRTRasterBand dataType="Byte" band="1"/></VRTDataset>'
    )
    corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]
    fit = fit_drawing([DrawingPair(f"P{n}", (x, -y), (x, y)) for n, (x, y) in enumerate(corners)], SIMILARITY, True)
    with pytest.raises(SurveyError, match=r"plan\.png cannot be read as a picture"):
        write_picture(path, fit, tmp_path / "out.tif", local_crs_wkt())


def test_labels_for_sentences_show_plain_text(qgis_app):
    """Any label that is filled later could be filled from a file."""
    from qgis.PyQt.QtCore import Qt

    from inslab.plugin.plain_text import as_html, plain_label

    assert plain_label().textFormat() == Qt.TextFormat.PlainText
    assert as_html("<b>\n&") == "<p>&lt;b&gt;<br>&amp;</p>"
    assert as_html("") == ""
    for file in (ROOT / "plugin").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "QLabel":
                assert node.args or file.name == "plain_text.py", f"{file.name}:{node.lineno}: use plain_label()"


def test_files_become_layers_in_one_place():
    """Elsewhere, `table_layer` would be forgotten one day."""
    for file in (ROOT / "plugin").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("QgsVectorLayer", "QgsRasterLayer"):
                provider = [word.value for word in node.args if isinstance(word, ast.Constant)]
                assert "memory" in provider or file.name == "layers.py", f"{file.name}:{node.lineno}: use table_layer"
