"""Bodies as layers of a project. What they look like is not asked here: without a screen QGIS cannot draw them."""

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from qgis.core import QgsCoordinateReferenceSystem, QgsProject
from qgis.PyQt.QtCore import Qt, pyqtSlot
from qgis.PyQt.QtWidgets import QAction, QDockWidget, QMainWindow
from qgis.PyQt.QtXml import QDomDocument

from inslab.plugin.project.layers import show_result
from inslab.plugin.view3d import show
from inslab.processing.store.reading import read_crs_wkt
from inslab.processing.views import solids

pytest.importorskip("qgis._3d")


@pytest.fixture
def survey(processed, tmp_path):
    outputs, _log = processed
    return Path(shutil.copytree(outputs["OUTPUT_FOLDER"], tmp_path / "result")) / "survey.gpkg"


def bodies(project):
    return [layer for layer in project.mapLayers().values() if layer.customProperty(show.KEY)]


def test_bodies_are_layers_with_heights_of_their_own(survey, qgis_new_project):
    project = QgsProject.instance()
    show_result(project, survey)
    shown = show.show_bodies(project, survey)
    names = [layer.name() for layer in shown]
    assert any(name.startswith("Bar: drawn 12 mm thick, not measured") for name in names)
    assert {"Scanned surface", "Slab base, where it is seen"} <= set(names)
    group = project.layerTreeRoot().findGroup("In 3-D")
    assert len(group.findLayers()) == len(shown)
    for layer in shown:
        renderer = layer.renderer3D()
        assert renderer is not None
        assert renderer.symbol().type() == "polygon"
        assert layer.renderer().type() == "nullSymbol"  # nothing in plan
        assert layer.crs() == project.crs()
        assert "not measured" in layer.metadata().abstract()
        assert {feature.geometry().constGet().is3D() for feature in layer.getFeatures()} == {True}


def test_a_second_look_replaces_the_first(survey, qgis_new_project):
    project = QgsProject.instance()
    first = len(show.show_bodies(project, survey))
    again = show.show_bodies(project, survey, 3.0)
    assert len(bodies(project)) == len(again) == first
    assert any("heights 3 times" in layer.name() for layer in again)


def test_penetrations_that_were_checked_are_cylinders(survey, qgis_new_project):
    from inslab.processing.steps.shared.verdict_layers import write_layers
    from inslab.processing.store.layer import Layer
    from inslab.processing.store.schema_penetrations import VERDICT_FIELDS

    fields = {
        "penetration_id": str,
        "diameter_m": float,
        "depth_m": float,
        "level": str,
        "surface": str,
        **VERDICT_FIELDS,
    }
    row = {"penetration_id": "P1", "diameter_m": 0.05, "depth_m": 0.2, "level": "Level 1", "surface": "top"}
    rows = [((10.1, 20.1), {**row, "verdict": "unknown"})]
    write_layers(
        survey.with_name("penetrations.gpkg"),
        [Layer("penetration_verdicts", "Point", fields, rows)],
        read_crs_wkt(survey),
    )
    shown = show.show_bodies(QgsProject.instance(), survey)
    (hole,) = [layer for layer in shown if layer.name() == "Penetrations: UNKNOWN"]
    box = hole.extent()
    assert (box.width(), box.center().x()) == pytest.approx((0.05, 10.1), abs=1e-3)


def test_the_view_is_asked_for_once_and_the_user_is_told_of_sizes(survey, qgis_iface, qgis_new_project):
    window = qgis_iface.mainWindow()
    iface = SimpleNamespace(
        mainWindow=lambda: window, mapCanvas=qgis_iface.mapCanvas
    )  # as that of a version without a call for 3-D views
    said = show.open_view(iface, QgsProject.instance(), survey)
    assert "not measured" in said[0]
    assert "no 3-D view" in said[1]
    action = QAction(window)
    action.setObjectName("mActionNew3DMapCanvas")
    pressed = []
    action.triggered.connect(lambda _: pressed.append(1))
    said = show.open_view(iface, QgsProject.instance(), survey)
    assert pressed == [1]
    assert "terrain" in said[1]
    action.setParent(None)
    assert (survey.with_name(solids.SOLIDS_FILE)).is_file()


def test_before_3_36_qgis_opens_a_view_described_as_in_a_project(survey, qgis_iface, qgis_new_project):
    """Elements and attributes are those that QGIS 3.22 wrote into a project; no terrain lies over the slab."""
    project = QgsProject.instance()
    opened = []

    class Dock(QDockWidget):
        def metaObject(self):
            return SimpleNamespace(className=lambda: "Qgs3DMapCanvasDockWidget")

    class Window(QMainWindow):
        @pyqtSlot(QDomDocument)
        def readProject(self, document):
            view = document.elementsByTagName("view").item(0).toElement()
            opened.append((view.attribute("name"), QDomDocument(document)))
            dock = Dock(view.attribute("name"), self)
            self.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, dock)

    window = Window()
    QAction(window).setObjectName("mActionNew3DMapCanvas")
    iface = SimpleNamespace(mainWindow=lambda: window, mapCanvas=qgis_iface.mapCanvas)
    said = show.open_view(iface, project, survey)
    assert said == ["Sizes in the 3-D view are for display only, not measured; heights are true to scale."]
    ((name, document),) = opened
    assert name == "Concrete in 3-D"
    terrain = document.elementsByTagName("terrain").item(0).toElement()
    assert terrain.attribute("terrain-rendering-enabled") == "0"
    shown = document.elementsByTagName("layer")
    ids = {shown.item(number).toElement().attribute("id") for number in range(shown.count())}
    assert ids == {layer.id() for layer in bodies(project) if project.layerTreeRoot().findLayer(layer).isVisible()}
    assert ids
    crs = QgsCoordinateReferenceSystem()
    crs.readXml(document.elementsByTagName("crs").item(0))
    assert crs == project.crs()


def test_a_newer_version_gets_a_view_without_terrain(survey, qgis_iface, qgis_new_project):
    calls = []

    class Settings:
        def setTerrainRenderingEnabled(self, on):
            calls.append(("terrain", on))

        def setFieldOfView(self, degrees):
            calls.append(("view", degrees))

    canvas = SimpleNamespace(
        mapSettings=Settings, setViewFrom2DExtent=lambda extent: calls.append(("extent", extent.isEmpty()))
    )
    iface = SimpleNamespace(createNewMapCanvas3D=lambda name: canvas, mapCanvas=qgis_iface.mapCanvas)
    said = show.open_view(iface, QgsProject.instance(), survey, 2.0)
    assert said == ["Sizes in the 3-D view are for display only, not measured; heights are exaggerated 2 times."]
    assert [name for name, _ in calls] == ["terrain", "view", "extent"]
    assert calls[0] == ("terrain", False)
