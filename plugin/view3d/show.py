"""The view in space: bodies of a survey as layers of the project, and a 3-D map view that shows them."""

from pathlib import Path
from typing import Dict, List, Tuple

from qgis.core import QgsLayerTreeGroup, QgsProject, QgsVectorLayer
from qgis.PyQt.QtWidgets import QAction

from ...processing.common import cautions
from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.common.vocabulary.surfaces import plane_words
from ...processing.common.vocabulary.verdicts import VERDICTS
from ...processing.steps.shared.verdict_layers import VERDICTS_FILE
from ...processing.store.schema import ITEMS, PENETRATION_VERDICTS, SCAN_AREAS
from ...processing.views import solids
from ..project.layers import file_of, table_layer
from ..styles.solids import BASE_COLOUR, BASE_OPACITY, SURFACE_COLOUR, SURFACE_OPACITY, hole_look, item_look, style_body
from .restore import close_views, open_restored

GROUP = tr("In 3-D")
VIEW_NAME = tr("Concrete in 3-D")
KEY = "inslab/body"  # custom property: which body layer of which survey
FIELD_OF_VIEW_DEG = 14  # a narrow view from far away: QGIS keeps its camera 10 m from what it looks at


def open_view(iface, project: QgsProject, survey_path, exaggeration: float = 1.0) -> List[str]:
    """Make the bodies of a survey anew, show them as layers of the project and open a 3-D map view.

    Returns sentences for the user. Raises `InslabError`.
    """
    if not hasattr(iface, "createNewMapCanvas3D"):
        close_views(iface.mainWindow())
    bodies = show_bodies(project, survey_path, exaggeration)
    said = [tr("Sizes in the 3-D view are for display only, not measured; heights are true to scale.")]
    if exaggeration != 1.0:
        said = [
            tr(
                "Sizes in the 3-D view are for display only, not measured; heights are exaggerated {n} times.",
                n=f"{exaggeration:g}",
            )
        ]
    return said + _open_canvas(iface, project, bodies)


def show_bodies(project: QgsProject, survey_path, exaggeration: float = 1.0) -> List[QgsVectorLayer]:
    """Write the bodies beside the survey and load them into the group of their own; those of an earlier call are replaced."""
    survey_path = Path(survey_path)
    path = solids.write_solids(
        survey_path, verdicts_path=survey_path.with_name(VERDICTS_FILE), exaggeration=exaggeration
    )
    for layer in list(project.mapLayers().values()):
        if layer.customProperty(KEY) and file_of(layer) == Path(path).resolve():
            project.removeMapLayer(layer.id())
    root = project.layerTreeRoot()
    group = root.findGroup(GROUP) or root.addGroup(GROUP)
    shown = []
    for number, (level, surface) in enumerate(solids.planes_in(path)):
        title = plane_words((level, surface))
        inner = group.findGroup(title) or group.addGroup(title)
        # Levels have no heights of their own: several at once would lie in one another.
        inner.setItemVisibilityChecked(number == 0)
        inner.setExpanded(number == 0)
        for table, words, name, look in _parts(exaggeration):
            where = f"\"{SCAN_AREAS.level}\" = '{_quoted(level)}' AND \"{SCAN_AREAS.surface}\" = '{_quoted(surface)}'"
            layer = table_layer(path, table, f"{where} AND {words}", name)
            if layer.isValid() and layer.featureCount():
                style_body(layer, *look)
                _add(project, inner, layer, f"{path}|{title}|{name}")
                shown.append(layer)
    return shown


def _parts(exaggeration: float) -> List[Tuple[str, str, str, Tuple[str, float]]]:
    """Table, filter, name on screen and look of each layer, the most important first."""
    times = "" if exaggeration == 1.0 else tr(", heights {n} times", n=f"{exaggeration:g}")
    parts = []
    for key, kind in KINDS.items():
        size = round(1000 * kind.drawn_diameter_m)
        name = tr("{kind}: drawn {size} mm thick, not measured{times}", kind=kind.title, size=size, times=times)
        parts.append((solids.ITEM_BODIES, f"\"{ITEMS.kind}\" = '{key}'", name, item_look(key)))
    for key, verdict in VERDICTS.items():
        name = tr("Penetrations: {verdict}", verdict=verdict.title)
        parts.append((solids.HOLE_BODIES, f"\"{PENETRATION_VERDICTS.verdict}\" = '{key}'", name, hole_look(key)))
    faces: Dict[str, Tuple[str, Tuple[str, float]]] = {
        solids.TOP: (tr("Scanned surface"), (SURFACE_COLOUR, SURFACE_OPACITY)),
        solids.BASE: (tr("Slab base, where it is seen"), (BASE_COLOUR, BASE_OPACITY)),
    }
    for face, (name, look) in faces.items():
        parts.append((solids.SLAB_SURFACES, f"\"face\" = '{face}'", name, look))
    return parts


def _add(project: QgsProject, group: QgsLayerTreeGroup, layer: QgsVectorLayer, key: str) -> None:
    layer.setCustomProperty(KEY, key)
    metadata = layer.metadata()
    metadata.setAbstract(cautions.SHORT)
    layer.setMetadata(metadata)
    layer.setCrs(project.crs() if project.crs().isValid() else layer.crs())
    project.addMapLayer(layer, False)
    group.addLayer(layer).setExpanded(False)


def _open_canvas(iface, project: QgsProject, bodies: List[QgsVectorLayer]) -> List[str]:
    """A 3-D map view; returns a sentence where it cannot be opened or must be set by hand."""
    if hasattr(iface, "createNewMapCanvas3D"):  # from 3.36
        canvas = iface.createNewMapCanvas3D(VIEW_NAME)
        if canvas is not None:
            _set_up(canvas, iface)
            return []
    action = iface.mainWindow().findChild(QAction, "mActionNew3DMapCanvas")
    if action is None:
        return [tr("This QGIS has no 3-D view; the layers are in the group '{group}' all the same.", group=GROUP)]
    root = project.layerTreeRoot()
    seen = [layer for layer in bodies if root.findLayer(layer.id()).isVisible()]
    if open_restored(iface.mainWindow(), project, seen, iface.mapCanvas().extent(), VIEW_NAME, FIELD_OF_VIEW_DEG):
        return []
    action.trigger()
    return [tr("In the settings of the 3-D view, switch the terrain off: it would cover what is in the slab.")]


def _set_up(canvas, iface) -> None:
    """Nothing over the slab, and a view from far away with a narrow angle."""
    settings = canvas.mapSettings()
    settings.setTerrainRenderingEnabled(False)
    settings.setFieldOfView(FIELD_OF_VIEW_DEG)
    extent = iface.mapCanvas().extent()
    if hasattr(canvas, "setViewFrom2DExtent"):
        canvas.setViewFrom2DExtent(extent)


def _quoted(text: str) -> str:
    return text.replace("'", "''")
