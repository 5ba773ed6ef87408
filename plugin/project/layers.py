"""A result as styled layers, one group for each level and side; the algorithms and the sample project both use this.

What is scanned from below or on a wall gets a group of its own: depths there count from another surface, and a wall's
coordinates are those of its elevation, never to be mixed with a plan.
"""

from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import List, Sequence, Tuple

from qgis.core import (
    QgsEditFormConfig,
    QgsLayerTreeGroup,
    QgsMapLayer,
    QgsProcessingLayerPostProcessorInterface,
    QgsProject,
    QgsProviderRegistry,
    QgsRasterLayer,
    QgsVectorLayer,
)

from ...processing.common import cautions
from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import TOP, plane_order, plane_words
from ...processing.floor.result import BASE, ORIGIN, SLICES
from ...processing.store.geopackage import read_layer
from ...processing.store.reading import raster_path
from ...processing.store.schema import (
    BRIDGED,
    CONTROL_POINTS,
    COVERAGE,
    DISMISSED,
    ERROR_ELLIPSES,
    FINDINGS,
    ITEMS,
    MATS,
    PICKS,
    RASTERS,
    RUN_LOG,
    SCAN_AREAS,
    SCAN_LINES,
    SEAMS,
    TIES,
    WALLS,
    WAVE_SPEEDS,
)
from ..styles import editing, fit, items, plan, slices

KEY = "inslab/layer"  # custom property: which part of which survey a layer shows
# Table, name on screen, style, shown at first; in drawing order from the top.
TABLES = (
    (BRIDGED.name, tr("Bridged: between sightings, not seen"), items.style_bridged, True),
    (ITEMS.name, tr("Items, depth to top in mm"), items.style_items, True),
    (PICKS.name, tr("Picks"), items.style_picks, False),
    (CONTROL_POINTS.name, tr("Control points"), plan.style_control_points, True),
    (TIES.name, tr("Ties between areas"), fit.style_ties, False),
    (WALLS.name, tr("Walls and what was scanned on them"), fit.style_walls, True),
    (SEAMS.name, tr("Seams: offset of shared items in mm"), fit.style_seams, False),
    (ERROR_ELLIPSES.name, tr("Error ellipses (95 %, 50 times enlarged)"), fit.style_error_ellipses, False),
    (SCAN_LINES.name, tr("Scan lines"), plan.style_scan_lines, False),
    (SCAN_AREAS.name, tr("Scan areas"), plan.style_scan_areas, True),
    (COVERAGE.name, tr("Not scanned: unknown"), plan.style_coverage, True),
)
EDITED = {ITEMS.name: editing.prepare_items, PICKS.name: editing.prepare_picks}
MAYBE_EMPTY = (
    BRIDGED.name,
    TIES.name,
    WALLS.name,
    SEAMS.name,
    ERROR_ELLIPSES.name,
)  # not shown where they hold nothing
LOG_TABLE = RUN_LOG.name
PLAIN_TABLES = {
    FINDINGS.name: tr("Findings"),
    MATS.name: tr("Mats of bars: spacing and cover"),
    DISMISSED.name: tr("Set aside by the surveyor"),
    WAVE_SPEEDS.name: tr("Wave speeds"),
    LOG_TABLE: tr("Steps run"),
}


@dataclass(frozen=True)
class Plane:
    """The areas of one level that were scanned from the same side."""

    level: str
    surface: str
    area_ids: Tuple[str, ...]

    @property
    def title(self) -> str:
        return plane_words((self.level, self.surface))

    def holds(self, row) -> bool:
        """Is this row of a table with the columns level and surface one of this plane?"""
        return (row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) == (self.level, self.surface)

    def filter(self, table: str) -> str:
        """SQL that keeps this plane's rows of a table."""
        if table == CONTROL_POINTS.name:
            return f'"{CONTROL_POINTS.area_id}" IN ({", ".join(map(_quoted, self.area_ids))})'
        return f'"{SCAN_AREAS.level}" = {_quoted(self.level)} AND "{SCAN_AREAS.surface}" = {_quoted(self.surface)}'


def planes_of(survey_path) -> List[Plane]:
    """The planes of a survey: plans by level, then what was seen from below, then walls."""
    found = {}
    for _, row in read_layer(survey_path, SCAN_AREAS.name):
        found.setdefault((row[SCAN_AREAS.level], row[SCAN_AREAS.surface]), []).append(row[SCAN_AREAS.area_id])
    return [Plane(*plane, tuple(sorted(found[plane]))) for plane in sorted(found, key=plane_order)]


def show_result(project: QgsProject, survey_path) -> None:
    """Add the layers of a survey to the project, in groups; an empty project gets the CRS of the site grid.

    Layers that an earlier call added are read again and keep the style that the user may have given them; rasters are added
    anew, because the number of their bands may have changed.
    """
    is_new = not any(layer.isSpatial() for layer in project.mapLayers().values())
    for plane in planes_of(survey_path):
        view = _PlaneView(project, Path(survey_path), plane)
        view.show_tables()
        view.show_rasters()
        if is_new:
            project.setCrs(view.crs)
            # A site grid is flat, and some QGIS versions measure nonsense on any ellipsoid.
            project.setEllipsoid("NONE")
    _show_plain_tables(project, survey_path)


def table_source(survey_path, table: str) -> str:
    """How QGIS names one table of the survey."""
    return f"{survey_path}|layername={table}"


def table_layer(survey_path, table: str, where: str = "", title: str = "") -> QgsVectorLayer:
    """One table of a GeoPackage as a layer, with the rows for which the SQL `where` holds; not valid where there is none.

    The style that may be stored in the file or beside it is not taken: actions and forms in it can hold a stranger's program.
    """
    # The filter stands in the source: set afterwards, it makes QGIS 3.22 lose its other connections to the file.
    source = table_source(survey_path, table) + (f"|subset={where}" if where else "")
    return QgsVectorLayer(source, title or table, "ogr", QgsVectorLayer.LayerOptions(False))


def file_of(layer: QgsMapLayer) -> Path:
    """The file that a layer shows, where the project has it now."""
    provider = layer.dataProvider().name() if layer.dataProvider() is not None else ""
    return Path(QgsProviderRegistry.instance().decodeUri(provider, layer.source()).get("path", "")).resolve()


class ResultLoader(QgsProcessingLayerPostProcessorInterface):
    """QGIS calls it once it has loaded the table of steps; it then adds everything else."""

    _kept = []  # QGIS holds no reference: without ours it would be gone before its turn

    def __init__(self, survey_path):
        super().__init__()
        self.survey_path = str(survey_path)
        self._kept.append(self)

    def postProcessLayer(self, layer, context, feedback):
        _forget_programs(layer)
        project = context.project() or QgsProject.instance()
        for other in list(project.mapLayers().values()):
            if other.source() == layer.source() and other.id() != layer.id():
                project.removeMapLayer(other.id())
        show_result(project, self.survey_path)
        node = project.layerTreeRoot().findLayer(layer.id())
        _table_group(project).addChildNode(node.clone())
        node.parent().removeChildNode(node)


def _forget_programs(layer: QgsVectorLayer) -> None:
    """Takes from a layer that QGIS itself loaded what a style stored in its file may have given it: see `table_layer`."""
    form = layer.editFormConfig()
    form.setInitCodeSource(QgsEditFormConfig.PythonInitCodeSource.CodeSourceNone)
    layer.setEditFormConfig(form)
    layer.actions().clearActions()
    layer.setMapTipTemplate("")


def _table_group(project: QgsProject) -> QgsLayerTreeGroup:
    root = project.layerTreeRoot()
    return root.findGroup(tr("Tables")) or root.addGroup(tr("Tables"))


def _show_plain_tables(project: QgsProject, survey_path) -> None:
    group = _table_group(project)
    group.setExpanded(False)
    there = {layer.source(): layer for layer in project.mapLayers().values()}
    for table, title in PLAIN_TABLES.items():
        source = table_source(survey_path, table)
        if source in there:
            there[source].dataProvider().reloadData()
            continue
        layer = table_layer(survey_path, table, title=title)
        if layer.isValid():
            project.addMapLayer(layer, False)
            group.addLayer(layer)


class _PlaneView:
    """The group of one plane in a project's layer tree."""

    def __init__(self, project: QgsProject, survey_path: Path, plane: Plane):
        self.project, self.survey_path, self.plane = project, survey_path, plane
        root = project.layerTreeRoot()
        self.group = root.findGroup(plane.title)
        if self.group is None:
            self.group = root.addGroup(plane.title)
            # Shown together with a plan, an elevation would lie across it.
            self.group.setItemVisibilityChecked(plane.surface == TOP)
            self.group.setExpanded(plane.surface == TOP)
        self.crs = None

    def show_tables(self) -> None:
        """The vector layers, as far as the steps that write them have run."""
        for table, title, style, shown in TABLES:
            earlier = self._added(table)
            for layer in earlier:
                layer.dataProvider().reloadData()  # the file was replaced under it
                layer.triggerRepaint()
            layer = earlier[0] if earlier else table_layer(self.survey_path, table, self.plane.filter(table), title)
            empty = table in MAYBE_EMPTY and layer.isValid() and not layer.featureCount()
            if not earlier and layer.isValid() and not empty:
                style(layer)
                if table in EDITED:
                    EDITED[table](layer, self.plane.level, self.plane.surface)
                self._add(self.group, layer, table, shown)
            self.crs = self.crs or layer.crs()

    def show_rasters(self) -> None:
        """Depth slices, slab thickness and origin of the cells of the whole plane."""
        for row in (row for _, row in read_layer(self.survey_path, RASTERS.name)):
            if self.plane.holds(row) and not row[RASTERS.area_id]:
                path = raster_path(self.survey_path, row[RASTERS.path])
                earlier = self._added(row[RASTERS.content])
                show = {SLICES: self._show_slices, BASE: self._show_thickness, ORIGIN: self._show_origin}
                if path is not None:
                    show[row[RASTERS.content]](str(path), earlier)
                for layer in earlier:
                    self.project.removeMapLayer(layer.id())

    def _show_slices(self, path: str, earlier: Sequence[QgsRasterLayer]) -> None:
        """One layer for all depths; the depth panel chooses which of them is drawn."""
        layer = _raster(path)
        slices.style_slices(layer)
        # The depth that was looked at stays.
        slices.show_depth(layer, slices.shown_depth_m(earlier[0]) if earlier else self._depth_to_show())
        self._add(self.group, layer, SLICES, True)

    def _show_thickness(self, path: str, _earlier) -> None:
        layer = _raster(path, tr("Slab thickness"))
        found = layer.dataProvider().bandStatistics(1)
        slices.style_thickness(layer, found.minimumValue, found.maximumValue)
        self._add(self.group, layer, BASE, False)

    def _show_origin(self, path: str, _earlier) -> None:
        layer = _raster(path, tr("Area that each cell comes from"))
        slices.style_origin(layer)
        self._add(self.group, layer, ORIGIN, False)

    def _depth_to_show(self) -> float:
        """The middle of the items' depths, metres."""
        depths = [
            row[ITEMS.depth_min_m] for _, row in read_layer(self.survey_path, ITEMS.name) if self.plane.holds(row)
        ]
        return median(depths) if depths else 0.0

    def _added(self, name: str) -> List[QgsMapLayer]:
        """Layers that an earlier call added; where project and survey were moved together since, they learn the new path."""
        found = []
        for layer in self.project.mapLayers().values():
            key = layer.customProperty(KEY, "")
            same = key.rsplit("|", 2)[1:] == [self.plane.title, name]
            if same and (key == self._key(name) or self._is_of_survey(layer)):
                layer.setCustomProperty(KEY, self._key(name))
                found.append(layer)
        return found

    def _is_of_survey(self, layer: QgsMapLayer) -> bool:
        file, survey = file_of(layer), self.survey_path.resolve()
        return file == survey or (isinstance(layer, QgsRasterLayer) and survey.parent in file.parents)

    def _add(self, group: QgsLayerTreeGroup, layer: QgsMapLayer, name: str, shown: bool) -> None:
        layer.setCustomProperty(KEY, self._key(name))
        metadata = layer.metadata()
        metadata.setAbstract(cautions.SHORT)
        layer.setMetadata(metadata)
        layer.setCrs(self.crs or layer.crs())  # a GeoTIFF may come back with another name for the same site grid
        self.project.addMapLayer(layer, False)
        node = group.addLayer(layer)
        node.setItemVisibilityChecked(shown)
        node.setExpanded(name == ITEMS.name)  # its legend tells the kinds

    def _key(self, name: str) -> str:
        return "|".join((str(self.survey_path), self.plane.title, name))


def _raster(path: str, title: str = "") -> QgsRasterLayer:
    """The file as a layer, without the default style: QGIS would take statistics of every band for it."""
    return QgsRasterLayer(path, title, "gdal", QgsRasterLayer.LayerOptions(False))


def _quoted(text: str) -> str:
    return "'{}'".format(text.replace("'", "''"))
