"""A desk over a project that shows a processed survey."""

from types import SimpleNamespace

import pytest
from qgis.core import QgsProject


@pytest.fixture
def project(qgis_app):
    project = QgsProject.instance()
    project.clear()
    yield project
    project.clear()


@pytest.fixture
def desk(qgis_iface):
    """Toolbar, menu and panels over a mock of QGIS's window."""
    from inslab.plugin.docks.desk import Desk

    made = Desk(qgis_iface)
    yield made
    made.close()


@pytest.fixture
def shown(project, survey_with_speeds, processed, qgis_iface):
    """The small survey in the project (a copy that may be edited): its plane and its path."""
    import shutil
    from pathlib import Path

    from inslab.plugin.project.layers import show_result
    from inslab.plugin.project.shown import shown_planes

    outputs, _log = processed
    folder = Path(survey_with_speeds).parent
    for name in ("slices", "base", "origin"):
        shutil.copytree(Path(outputs["OUTPUT_FOLDER"]) / name, folder / name)
    show_result(project, survey_with_speeds)
    (plane,) = shown_planes(project)
    canvas = qgis_iface.mapCanvas()
    canvas.setDestinationCrs(project.crs())
    canvas.setExtent(plane.layer("scan_areas").extent())
    return SimpleNamespace(plane=plane, path=survey_with_speeds, canvas=canvas, project=project)
