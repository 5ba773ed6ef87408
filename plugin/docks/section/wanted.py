"""Which radargram shows what is selected on the map."""

from dataclasses import dataclass, field
from typing import Optional, Tuple

from qgis.core import QgsExpression, QgsFeature, QgsFeatureRequest, QgsProject

from ....processing.store.schema import ITEMS, PICKS, SCAN_LINES
from ...project.shown import ShownPlane, shown_planes
from .picks import number_or_none


@dataclass(frozen=True)
class WantedLine:
    """A scan line and the place on it that is meant; `line_id` is empty where no line shows what was selected."""

    plane: ShownPlane = field(compare=False)
    area_id: str = ""
    line_id: str = ""
    dipole_axis: str = ""
    distance_m: Optional[float] = None


def line_of_feature(feature: QgsFeature) -> Tuple[str, str, str]:
    """Area, line and dipole axis of a row of `scan_lines`."""
    return feature[SCAN_LINES.area_id], feature[SCAN_LINES.line_id], feature[SCAN_LINES.dipole_axis]


def wanted_of_selection(project: QgsProject) -> Optional[WantedLine]:
    """The line of the first pick, item or scan line that is selected in any plane; None where nothing is."""
    for plane in shown_planes(project):
        for name, find in FINDERS:
            layer = plane.layer(name)
            chosen = next(iter(layer.getSelectedFeatures()), None) if layer is not None else None
            if chosen is not None:
                return find(plane, chosen)
    return None


def _line_of_pick(plane: ShownPlane, pick: QgsFeature) -> WantedLine:
    lines = rows_of(plane, SCAN_LINES.name, area_id=pick[PICKS.area_id], line_id=pick[PICKS.line_id])
    if not lines:
        return WantedLine(plane)
    line = min(lines, key=lambda row: row[SCAN_LINES.dipole_axis] != "across")  # bars across the line show best so
    return WantedLine(plane, *line_of_feature(line), _distance(line, pick[PICKS.local_x_m], pick[PICKS.local_y_m]))


def _line_of_item(plane: ShownPlane, item: QgsFeature) -> WantedLine:
    """The line with the item's strongest pick; without picks, the line that crosses it nearest to its middle."""
    picks = rows_of(plane, PICKS.name, item_id=item[ITEMS.item_id])
    if picks:
        best = max(picks, key=lambda pick: number_or_none(pick[PICKS.strength_db]) or 0.0)
        return _line_of_pick(plane, best)
    if not item.hasGeometry() or plane.layer(SCAN_LINES.name) is None:
        return WantedLine(plane)
    geometry = item.geometry()
    middle = geometry.interpolate(geometry.length() / 2)
    request = QgsFeatureRequest().setFilterRect(geometry.boundingBox())
    crossing = [row for row in plane.layer(SCAN_LINES.name).getFeatures(request) if row.geometry().intersects(geometry)]
    if not crossing:
        return WantedLine(plane)
    line = min(crossing, key=lambda row: (row.geometry().distance(middle), row[SCAN_LINES.dipole_axis] != "across"))
    where = line.geometry().lineLocatePoint(line.geometry().intersection(geometry).centroid())
    return WantedLine(plane, *line_of_feature(line), where)


def _line_itself(plane: ShownPlane, line: QgsFeature) -> WantedLine:
    """Selected in its table, a line of an area without a position can be shown as well."""
    return WantedLine(plane, *line_of_feature(line))


FINDERS = ((PICKS.name, _line_of_pick), (ITEMS.name, _line_of_item), (SCAN_LINES.name, _line_itself))


def neighbour(plane: ShownPlane, area_id: str, line_id: str, dipole_axis: str, step: int) -> Optional[WantedLine]:
    """The line that comes `step` lines after another one of its area, with the same dipole axis; None beyond the ends."""
    lines = rows_of(plane, SCAN_LINES.name, area_id=area_id, dipole_axis=dipole_axis)
    number = [line[SCAN_LINES.line_id] for line in lines].index(line_id) + step
    return WantedLine(plane, *line_of_feature(lines[number])) if 0 <= number < len(lines) else None


def rows_of(plane: ShownPlane, table: str, **wanted):
    """Features of one layer whose columns have these values; none where there is no such layer."""
    layer = plane.layer(table)
    if layer is None:
        return []
    texts = [f"{QgsExpression.quotedColumnRef(k)} = {QgsExpression.quotedValue(v)}" for k, v in wanted.items()]
    return list(layer.getFeatures(QgsFeatureRequest().setFilterExpression(" AND ".join(texts))))


def _distance(line: QgsFeature, x, y) -> Optional[float]:
    """Distance along a line, from the local coordinates of a place on it."""
    x, y = number_or_none(x), number_or_none(y)
    if x is None or y is None:
        return None
    along_x, along_y = (
        line[SCAN_LINES.end_x_m] - line[SCAN_LINES.start_x_m],
        line[SCAN_LINES.end_y_m] - line[SCAN_LINES.start_y_m],
    )
    return ((x - line[SCAN_LINES.start_x_m]) * along_x + (y - line[SCAN_LINES.start_y_m]) * along_y) / line[
        SCAN_LINES.length_m
    ]
