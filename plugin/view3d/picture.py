"""A still picture of the bodies, drawn by a layout's 3-D map: for pages, and for versions whose 3-D view cannot be set up.

Needs a screen with OpenGL (also a virtual one, `xvfb-run`): on Qt's offscreen platform QGIS waits for ever.
"""

from typing import Sequence

from qgis.core import (
    QgsLayout,
    QgsLayoutExporter,
    QgsLayoutItemPage,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsProject,
    QgsReadWriteContext,
    QgsRectangle,
    QgsUnitTypes,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QGuiApplication
from qgis.PyQt.QtXml import QDomDocument

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from .show import FIELD_OF_VIEW_DEG

SIZE_MM = (240.0, 150.0)
# Terrain generators are not in Python before 3.36: a scene without terrain is read from XML instead.
_SCENE = (
    '<qgis3d><extent xMin="{0}" yMin="{1}" xMax="{2}" yMax="{3}"/><origin x="{4}" y="{5}" z="0"/>'
    '<terrain terrain-rendering-enabled="0" exaggeration="1" texture-size="512" max-terrain-error="3" max-ground-error="1" '
    'shading-enabled="0" elevation-offset="0" map-theme="" show-labels="0"><layers/><generator type="flat"><terrain/>'
    "</generator></terrain><lights/></qgis3d>"
)


def save_picture(
    project: QgsProject,
    layers: Sequence[QgsVectorLayer],
    extent: QgsRectangle,
    path,
    distance_m: float = 11.0,
    pitch_deg: float = 55.0,
    heading_deg: float = 30.0,
    dpi: int = 110,
) -> None:
    """Draw the bodies within `extent` into a PNG. Raises `ProcessingError` where there is no screen or it cannot be written."""
    if QGuiApplication.platformName() == "offscreen":
        raise ProcessingError(tr("A picture in 3-D needs a screen; start QGIS with a window, or with xvfb-run."))
    from qgis._3d import Qgs3D, QgsCameraPose, QgsLayoutItem3DMap

    if hasattr(Qgs3D, "initialize"):
        Qgs3D.initialize()  # outside the window nobody else does, and the export would wait for ever
    layout = QgsLayout(project)
    layout.initializeDefaults()
    page: QgsLayoutItemPage = layout.pageCollection().page(0)
    millimetres = QgsUnitTypes.LayoutUnit.LayoutMillimeters
    page.setPageSize(QgsLayoutSize(*SIZE_MM, millimetres))
    item = QgsLayoutItem3DMap(layout)
    layout.addLayoutItem(item)
    item.attemptMove(QgsLayoutPoint(0, 0, millimetres))
    item.attemptResize(QgsLayoutSize(*SIZE_MM, millimetres))
    item.setMapSettings(_settings(project, layers, extent))
    pose = QgsCameraPose()
    pose.setDistanceFromCenterPoint(distance_m)
    pose.setPitchAngle(pitch_deg)
    pose.setHeadingAngle(heading_deg)
    item.setCameraPose(pose)
    options = QgsLayoutExporter.ImageExportSettings()
    options.dpi = dpi
    if QgsLayoutExporter(layout).exportToImage(str(path), options) != QgsLayoutExporter.ExportResult.Success:
        raise ProcessingError(tr("{file} cannot be written; choose another place for it.", file=path))


def _settings(project: QgsProject, layers, extent: QgsRectangle):
    from qgis._3d import Qgs3DMapSettings, QgsDirectionalLightSettings
    from qgis.core import QgsVector3D

    centre = extent.center()
    corners = (extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum())
    document = QDomDocument()
    document.setContent(_SCENE.format(*corners, centre.x(), centre.y()))
    settings = Qgs3DMapSettings()
    settings.setCrs(project.crs())
    settings.readXml(document.documentElement(), QgsReadWriteContext())
    settings.setCrs(project.crs())
    settings.setLayers(list(layers))
    settings.setTransformContext(project.transformContext())
    settings.setPathResolver(project.pathResolver())
    settings.setMapThemeCollection(project.mapThemeCollection())
    settings.setOrigin(QgsVector3D(centre.x(), centre.y(), 0.0))
    settings.setTerrainRenderingEnabled(False)
    settings.setFieldOfView(FIELD_OF_VIEW_DEG)
    if hasattr(settings, "setExtent"):
        settings.setExtent(extent)
    lights = []
    # Which axis is up differs between versions; a light from each side leaves no face black in either.
    for x, y, z in ((-0.4, -1.0, 0.3), (-0.4, 0.3, -1.0)):
        light = QgsDirectionalLightSettings()
        light.setDirection(QgsVector3D(x, y, z))
        light.setIntensity(0.6)
        lights.append(light)
    if hasattr(settings, "setLightSources"):
        settings.setLightSources(lights)
    else:
        settings.setDirectionalLights(lights)
    return settings
