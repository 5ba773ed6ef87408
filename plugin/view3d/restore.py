"""A 3-D view for QGIS before 3.36, whose views Python cannot set up: described as a project describes one, and opened by QGIS.

The main window has a slot that opens what a project holds; it is given a document that holds nothing but this view. It reads
only what is in the document, so that map, layers and title of the project stay.
"""

import math
from typing import List, Sequence

from qgis.core import QgsProject, QgsRectangle, QgsVectorLayer
from qgis.PyQt.QtCore import Q_ARG, QCoreApplication, QEvent, QMetaObject, Qt
from qgis.PyQt.QtWidgets import QDockWidget
from qgis.PyQt.QtXml import QDomDocument, QDomElement

READ_SLOT = "readProject"
DOCK_CLASS = "Qgs3DMapCanvasDockWidget"
PITCH_DEG, YAW_DEG = 55.0, 30.0
NEAREST_M = 3.0
LIGHT = {"x": -0.4, "y": -1.0, "z": 0.3, "color": "255,255,255,255", "intensity": 0.8}  # y is up in these versions


def open_restored(
    window, project: QgsProject, layers: Sequence[QgsVectorLayer], seen: QgsRectangle, name, angle_deg
) -> bool:
    """Open a view of `layers` without terrain that looks at `seen`; False where this QGIS does not take it."""
    taken = {dock.windowTitle() for dock in _docks(window)}
    name = next(one for one in (name, *(f"{name} {number}" for number in range(2, 1000))) if one not in taken)
    document = _document(window, project, layers, seen, name, angle_deg)
    try:
        QMetaObject.invokeMethod(window, READ_SLOT, Qt.ConnectionType.DirectConnection, Q_ARG(QDomDocument, document))
    except (RuntimeError, TypeError):
        return False
    return any(dock.windowTitle() == name for dock in _docks(window))


def close_views(window) -> None:
    """Close all 3-D views for good: QGIS 3.22 breaks down when a layer that one of them shows leaves the project."""
    for dock in _docks(window):
        dock.close()
        dock.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def _docks(window) -> List[QDockWidget]:
    return [dock for dock in window.findChildren(QDockWidget) if dock.metaObject().className() == DOCK_CLASS]


def _document(window, project, layers, seen: QgsRectangle, name: str, angle_deg: float) -> QDomDocument:
    """Elements and attributes as QGIS 3.22 writes them into a project."""
    document = QDomDocument("qgis")

    def add(parent, tag: str, **attributes) -> QDomElement:
        element = document.createElement(tag)
        for key, value in attributes.items():
            element.setAttribute(key.replace("_", "-"), str(value))
        parent.appendChild(element)
        return element

    around = QgsRectangle(seen)
    for layer in layers:
        around.combineExtentWith(layer.extent())
    middle, half = seen.center(), 0.5 * math.hypot(seen.width(), seen.height())
    place = window.geometry()
    width, height = int(0.6 * place.width()), int(0.65 * place.height())
    left, top = place.x() + (place.width() - width) // 2, place.y() + (place.height() - height) // 2
    docks = add(add(document, "qgis"), "mapViewDocks3D")
    # Floating: it may be docked by hand, and the project keeps where it was put.
    view = add(docks, "view", area=2, floating=1, x=left, y=top, width=width, height=height, name=name)
    scene = add(view, "qgis3d")
    add(scene, "origin", x=middle.x(), y=middle.y(), z=0)
    mode = {"camera_navigation_mode": "terrain-based-navigation", "camera_movement_speed": 5}
    add(scene, "camera", field_of_view=angle_deg, projection_type=1, **mode)
    add(scene, "color", selection="255,255,0,255", background="255,255,255,255")
    project.crs().writeXml(add(scene, "crs"), document)
    add(scene, "point-lights")
    add(add(scene, "directional-lights"), "directional-light", **LIGHT)
    errors = {"max_terrain_error": 3, "max_ground_error": 1, "texture_size": 512}
    hidden = {"terrain_rendering_enabled": 0, "exaggeration": 1, "elevation_offset": 0, "shading_enabled": 0}
    terrain = add(scene, "terrain", map_theme="", show_labels=0, **errors, **hidden)
    shown = add(terrain, "layers")
    for layer in layers:
        add(shown, "layer", id=layer.id())
    sides = {"xmin": around.xMinimum(), "ymin": around.yMinimum(), "xmax": around.xMaximum(), "ymax": around.yMaximum()}
    add(add(terrain, "generator", type="flat"), "extent", **sides)
    add(scene, "renderers")
    away = max(half / math.tan(math.radians(angle_deg) / 2), NEAREST_M)
    add(view, "camera", x=0, y=0, elev=0, dist=away, pitch=PITCH_DEG, yaw=YAW_DEG)
    return document
