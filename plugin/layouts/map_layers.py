"""What the plans of a report show: layers of one survey, styled, in a project that no user sees, and keys for their legends."""

from pathlib import Path
from typing import Mapping, Optional, Sequence, Tuple

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsFillSymbol,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsSingleSymbolRenderer,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)

from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import TOP
from ...processing.store.reading import read_crs_wkt
from ...processing.store.schema import BRIDGED, CONTROL_POINTS, COVERAGE, ITEMS, PENETRATION_VERDICTS, SCAN_AREAS
from ..project.layers import Plane, table_layer
from ..styles.items import style_bridged, style_items
from ..styles.labels import always_shown, draw_in_order
from ..styles.penetrations import style_verdicts
from ..styles.plan import style_control_points, style_penetrations, style_scan_areas
from .page import style_scanned


class MapLayers:
    """Layers by plane, each opened once; `holes` are rows of planned penetrations."""

    def __init__(self, survey_path, holes: Sequence[Tuple[object, Mapping]] = ()):
        self.survey_path, self.holes = Path(survey_path), list(holes)
        self.project = QgsProject()
        self.crs_wkt = read_crs_wkt(survey_path)
        self.project.setCrs(self._table_crs())  # before the first map item, which asks PROJ about it
        self.project.setEllipsoid("NONE")
        self._planes = {}

    def layers(self, level: str, surface: str) -> list:
        """What a plan shows, from the top: holes, what is bridged, items, control points, areas, scanned ground."""
        if (level, surface) not in self._planes:
            self._planes[level, surface] = self._open(level, surface)
        return self._planes[level, surface]

    def _open(self, level: str, surface: str) -> list:
        areas = self._table(
            SCAN_AREAS.name, f'"{SCAN_AREAS.level}" = {_quoted(level)} AND "{SCAN_AREAS.surface}" = {_quoted(surface)}'
        )
        names = tuple(sorted(feature[SCAN_AREAS.area_id] for feature in areas.getFeatures())) if areas else ()
        plane = Plane(level, surface, names)
        found = [self._hole_layer(level, surface)]
        for table, title, style in (
            (BRIDGED.name, tr("Bridged: between sightings, not seen"), style_bridged),
            (ITEMS.name, tr("Items, 95 % strip in plan"), style_items),
            (CONTROL_POINTS.name, tr("Control point, residual"), style_control_points),
            (SCAN_AREAS.name, tr("Scan area"), _style_areas),
            (COVERAGE.name, "", style_scanned),
        ):
            more = f' AND "{COVERAGE.line_directions}" >= 2' if table == COVERAGE.name else ""
            layer = self._table(table, plane.filter(table) + more) if names or table == ITEMS.name else None
            if layer is not None and (table != BRIDGED.name or layer.featureCount()):
                layer.setName(title)
                style(layer)
                draw_in_order(layer)
                found.append(layer)
        return [layer for layer in found if layer is not None]

    def _table(self, table: str, where: str) -> Optional[QgsVectorLayer]:
        layer = table_layer(self.survey_path, table, where)
        return self.project.addMapLayer(layer) if layer.isValid() else None

    def _hole_layer(self, level: str, surface: str) -> Optional[QgsVectorLayer]:
        """The planned holes of a plane as a layer of its own, with the columns that its style looks at."""
        own = [
            (place, row)
            for place, row in self.holes
            if (row.get(PENETRATION_VERDICTS.level) or level, row.get(PENETRATION_VERDICTS.surface) or TOP)
            == (level, surface)
        ]
        if not own:
            return None
        names = {
            PENETRATION_VERDICTS.penetration_id: "string",
            PENETRATION_VERDICTS.verdict: "string",
            PENETRATION_VERDICTS.diameter_m: "double",
            PENETRATION_VERDICTS.margin_m: "double",
        }
        fields = "&".join(f"field={name}:{kind}" for name, kind in names.items())
        layer = QgsVectorLayer(f"Point?{fields}", tr("Planned holes, true size"), "memory")
        layer.setCrs(self._table_crs())
        for place, row in own:
            feature = QgsFeature(layer.fields())
            feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(float(place[0]), float(place[1]))))
            feature.setAttributes([row.get(name) for name in names])
            layer.dataProvider().addFeature(feature)
        checked = any(row.get(PENETRATION_VERDICTS.verdict) for _, row in own)
        (style_verdicts if checked else style_penetrations)(layer)
        draw_in_order(layer)
        return self.project.addMapLayer(layer)

    def _table_crs(self) -> QgsCoordinateReferenceSystem:
        return QgsCoordinateReferenceSystem.fromWkt(self.crs_wkt)

    def ground_key(self, title: str, colour: str) -> QgsVectorLayer:
        """An empty layer that explains a colour of the ground in the legend; white without an outline would not be seen."""
        known = self.project.mapLayersByName(title)
        if known:
            return known[0]
        layer = QgsVectorLayer("Polygon", title, "memory")
        fill = QgsFillSymbol.createSimple({"color": colour, "outline_color": "#808080", "outline_width": "0.2"})
        layer.setRenderer(QgsSingleSymbolRenderer(fill))
        return self.project.addMapLayer(layer)


def _style_areas(layer) -> None:
    """As on the main map, but no area goes without its name for want of room."""
    style_scan_areas(layer)
    settings = layer.labeling().settings()
    always_shown(settings)
    layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))


def _quoted(text: str) -> str:
    return "'{}'".format(text.replace("'", "''"))
