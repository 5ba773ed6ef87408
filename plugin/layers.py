"""A result as styled layers, one group for each level and side; the algorithms and the sample project both use this.

What is scanned from below or on a wall gets a group of its own: depths there count from another surface, and a wall's
coordinates are those of its elevation, never to be mixed with a plan.
"""

from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import List, Tuple

from qgis.core import (
    QgsLayerTreeGroup,
    QgsMapLayer,
    QgsProcessingLayerPostProcessorInterface,
    QgsProject,
    QgsRasterBandStats,
    QgsRasterLayer,
    QgsVectorLayer,
)

from ..processing import cautions
from .styles import items, plan, slices

KEY = "inslab/layer"  # custom property: which part of which survey a layer shows
SIDES = {"top": "{}", "soffit": "{} (seen from below)", "wall": "{} (elevation of a wall)"}
# Table, name on screen, style, shown at first; in drawing order from the top.
TABLES = (
    ("items", "Items (depth to the top in mm)", items.style_items, True),
    ("picks", "Picks", items.style_picks, False),
    ("control_points", "Control points", plan.style_control_points, True),
    ("scan_lines", "Scan lines", plan.style_scan_lines, False),
    ("scan_areas", "Scan areas", plan.style_scan_areas, True),
    ("coverage", "Scanned ground (hatched: not scanned, unknown)", plan.style_coverage, True),
)


@dataclass(frozen=True)
class Plane:
    """The areas of one level that were scanned from the same side."""

    level: str
    surface: str
    area_ids: Tuple[str, ...]

    @property
    def title(self) -> str:
        return SIDES[self.surface].format(self.level)

    def filter(self, layer: QgsVectorLayer) -> str:
        """SQL that keeps the rows of this plane."""
        if layer.fields().indexOf("surface") >= 0:
            return f'"level" = {_quoted(self.level)} AND "surface" = {_quoted(self.surface)}'
        return f'"area_id" IN ({", ".join(map(_quoted, self.area_ids))})'


def planes_of(survey_path) -> List[Plane]:
    """The planes of a survey: plans by level, then what was seen from below, then walls."""
    found = {}
    for row in _table(survey_path, "scan_areas").getFeatures():
        key = (list(SIDES).index(row["surface"]), row["level"], row["surface"])
        found.setdefault(key, []).append(row["area_id"])
    return [Plane(key[1], key[2], tuple(sorted(found[key]))) for key in sorted(found)]


def show_result(project: QgsProject, survey_path) -> None:
    """Add the layers of a survey to the project, in groups.

    Layers that an earlier call added are read again and keep the style that the user may have given them; depth slices are
    added anew, because their number may have changed.
    """
    crs = _table(survey_path, "scan_areas").crs()
    if not any(layer.isSpatial() for layer in project.mapLayers().values()):
        project.setCrs(crs)
        project.setEllipsoid("NONE")  # a site grid is flat, and some QGIS versions measure nonsense on any ellipsoid
    rasters = list(_table(survey_path, "rasters").getFeatures())
    for plane in planes_of(survey_path):
        group = _group(project.layerTreeRoot(), plane.title)
        # Walls are elevations: shown together with a plan they would lie across it.
        group.setItemVisibilityChecked(plane.surface == "top")
        for table, title, style, shown in TABLES:
            _show_table(project, group, survey_path, plane, table, title, style, shown)
        for row in rasters:
            if (row["level"], row["surface"]) == (plane.level, plane.surface) and not row["area_id"]:
                path = Path(survey_path).resolve().parent / row["path"]
                show = _show_slices if row["content"] == "slices" else _show_thickness
                show(project, group, survey_path, plane, str(path), crs)


class ResultLoader(QgsProcessingLayerPostProcessorInterface):
    """QGIS calls it once it has loaded the table of steps; it then adds everything else."""

    _kept = []  # QGIS holds no reference: without ours it would be gone before its turn

    def __init__(self, survey_path):
        super().__init__()
        self.survey_path = str(survey_path)
        self._kept.append(self)

    def postProcessLayer(self, layer, context, feedback):
        project = context.project() or QgsProject.instance()
        for other in list(project.mapLayers().values()):
            if other.source() == layer.source() and other.id() != layer.id():
                project.removeMapLayer(other.id())
        show_result(project, self.survey_path)


def _quoted(text: str) -> str:
    return "'{}'".format(text.replace("'", "''"))


def _table(survey_path, name: str) -> QgsVectorLayer:
    return QgsVectorLayer(f"{survey_path}|layername={name}", name, "ogr")


def _group(parent: QgsLayerTreeGroup, title: str) -> QgsLayerTreeGroup:
    return parent.findGroup(title) or parent.addGroup(title)


def _added(project: QgsProject, survey_path, plane: Plane, name: str) -> List[QgsMapLayer]:
    key = _key(survey_path, plane, name)
    return [layer for layer in project.mapLayers().values() if layer.customProperty(KEY) == key]


def _key(survey_path, plane: Plane, name: str) -> str:
    return "|".join((str(survey_path), plane.title, name))


def _add(project, group, layer, key, shown) -> None:
    layer.setCustomProperty(KEY, key)
    metadata = layer.metadata()
    metadata.setAbstract(cautions.SHORT)
    layer.setMetadata(metadata)
    project.addMapLayer(layer, False)
    node = group.addLayer(layer)
    node.setItemVisibilityChecked(shown)
    node.setExpanded(False)


def _show_table(project, group, survey_path, plane, table, title, style, shown) -> None:
    earlier = _added(project, survey_path, plane, table)
    for layer in earlier:
        layer.dataProvider().reloadData()  # the file was replaced under it
        layer.triggerRepaint()
    if earlier:
        return
    layer = _table(survey_path, table)
    layer.setName(title)
    if not layer.isValid() or not layer.setSubsetString(plane.filter(layer)) or layer.featureCount() == 0:
        return  # the step that writes it has not run, or it found nothing here
    style(layer)
    _add(project, group, layer, _key(survey_path, plane, table), shown)


def _show_slices(project, group, survey_path, plane, path, crs) -> None:
    """One layer for each depth, one of them shown at a time."""
    for layer in _added(project, survey_path, plane, "slices"):
        project.removeMapLayer(layer.id())
    inner = _group(group, "Depth slices")
    inner.setIsMutuallyExclusive(False)
    bands = QgsRasterLayer(path).bandCount()
    for band in range(1, bands + 1):
        layer = QgsRasterLayer(path, "")
        layer.setCrs(crs)
        layer.setName(depth_title(layer.bandName(band)))
        slices.style_slice(layer, band)
        _add(project, inner, layer, _key(survey_path, plane, "slices"), False)
    inner.setIsMutuallyExclusive(True, _busiest_band(survey_path, plane, path))
    inner.setExpanded(False)


def _show_thickness(project, group, survey_path, plane, path, crs) -> None:
    for layer in _added(project, survey_path, plane, "base"):
        project.removeMapLayer(layer.id())
    layer = QgsRasterLayer(path, "Slab thickness")
    layer.setCrs(crs)
    found = layer.dataProvider().bandStatistics(1, QgsRasterBandStats.Stats.Min | QgsRasterBandStats.Stats.Max)
    slices.style_thickness(layer, found.minimumValue, found.maximumValue)
    _add(project, group, layer, _key(survey_path, plane, "base"), False)


def depth_title(band_name: str) -> str:
    """'Depth 40-50 mm' from the band name 'Band 5: 0.040-0.050 m'."""
    top, base = (round(1000 * float(metres)) for metres in band_name.split(": ")[1].split(" ")[0].split("-"))
    return f"Depth {top}-{base} mm"


def _busiest_band(survey_path, plane: Plane, path: str) -> int:
    """Number, from 0, of the slice that holds the middle of the items' depths."""
    layer = _table(survey_path, "items")
    if not layer.isValid() or not layer.setSubsetString(plane.filter(layer)) or layer.featureCount() == 0:
        return 0
    middle = median(row["depth_min_m"] for row in layer.getFeatures())
    raster = QgsRasterLayer(path)
    names = [raster.bandName(band) for band in range(1, raster.bandCount() + 1)]
    tops = [float(name.split(": ")[1].split("-")[0]) for name in names]
    return max((number for number, top in enumerate(tops) if top <= middle), default=0)
