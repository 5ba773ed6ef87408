"""What of results a project shows: the planes that `layers.show_result` added, and their layers."""

from dataclasses import dataclass, field
from typing import Dict, List, Optional, Tuple

from qgis.core import QgsLayerTreeGroup, QgsMapLayer, QgsProject, QgsProviderRegistry

from ...processing.floor.result import RASTER_CONTENTS
from ...processing.store.schema import ITEMS
from .layers import KEY


@dataclass(frozen=True)
class ShownPlane:
    """One level and side of one survey in a project; `layers` by the name of their table or raster content."""

    key: str
    title: str
    layers: Dict[str, QgsMapLayer] = field(compare=False)

    @property
    def survey_path(self) -> str:
        """Of the survey's GeoPackage, where the project has it now (a project may have been moved with its files)."""
        layer = next(iter(self._tables), None)
        if layer is None:
            return ""
        return QgsProviderRegistry.instance().decodeUri("ogr", layer.source()).get("path", "")

    @property
    def level_and_surface(self) -> Tuple[str, str]:
        """Of the plane's areas; empty where it shows nothing that tells."""
        for layer in self._tables:
            if layer.fields().indexOf(ITEMS.level) >= 0:
                for feature in layer.getFeatures():
                    return feature[ITEMS.level], feature[ITEMS.surface]
        return "", ""

    @property
    def crs(self):
        """The site grid."""
        return next(iter(self.layers.values())).crs()

    @property
    def _tables(self) -> List[QgsMapLayer]:
        return [layer for name, layer in self.layers.items() if name not in RASTER_CONTENTS]

    def layer(self, name: str) -> Optional[QgsMapLayer]:
        """The layer of one table (`items`, `picks` ...) or raster (`slices` ...); None where there is none."""
        return self.layers.get(name)

    def group(self, project: QgsProject) -> Optional[QgsLayerTreeGroup]:
        """The plane's group in the layer tree."""
        nodes = (project.layerTreeRoot().findLayer(layer.id()) for layer in self.layers.values())
        return next((node.parent() for node in nodes if node is not None), None)

    def is_visible(self, project: QgsProject) -> bool:
        """Is its group switched on?"""
        group = self.group(project)
        return group is not None and group.isVisible()


def shown_planes(project: QgsProject) -> List[ShownPlane]:
    """All planes that the project shows, in the order of the layer tree."""
    found: Dict[str, ShownPlane] = {}
    for node in project.layerTreeRoot().findLayers():
        layer = node.layer()
        key = layer.customProperty(KEY) if layer is not None and layer.isValid() else None
        if key:
            survey, title, name = key.rsplit("|", 2)
            plane = found.setdefault(f"{survey}|{title}", ShownPlane(f"{survey}|{title}", title, {}))
            plane.layers[name] = layer
    return list(found.values())


def plane_of_layer(project: QgsProject, layer: QgsMapLayer) -> Optional[ShownPlane]:
    """The plane that a layer belongs to; None for other layers."""
    return next((plane for plane in shown_planes(project) if layer in plane.layers.values()), None)


def first_visible(planes: List[ShownPlane], project: QgsProject) -> Optional[ShownPlane]:
    """The first plane that is switched on, else the first."""
    return next((plane for plane in planes if plane.is_visible(project)), planes[0] if planes else None)
