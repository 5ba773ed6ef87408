"""How scan areas, lines, control points, coverage and planned penetrations are drawn."""

from qgis.core import (
    QgsExpression,
    QgsFillSymbol,
    QgsInvertedPolygonRenderer,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsSingleSymbolRenderer,
)

from ...processing.common.language import tr
from ...processing.store.schema import CONTROL_POINTS, PENETRATION_VERDICTS, SCAN_AREAS
from .hatching import hatching
from .holes import hole_symbol
from .labels import label


def style_scan_areas(layer) -> None:
    """Outline and name of each area."""
    outline = QgsFillSymbol.createSimple({"style": "no", "outline_color": "#22303f", "outline_width": "0.4"})
    layer.setRenderer(QgsSingleSymbolRenderer(outline))
    label(layer, f'"{SCAN_AREAS.area_id}"', 9.0, bold=True, placement=QgsPalLayerSettings.Placement.OutsidePolygons)


def style_scan_lines(layer) -> None:
    """Hairlines where the antenna went."""
    hairline = QgsLineSymbol.createSimple({"color": "91,100,114,160", "width": "0.1"})
    layer.setRenderer(QgsSingleSymbolRenderer(hairline))


def style_control_points(layer) -> None:
    """Crosses, with the point's name and how far it lies from its fitted position."""
    cross = QgsMarkerSymbol.createSimple({"name": "cross", "color": "#22303f", "outline_width": "0.4", "size": "2.6"})
    layer.setRenderer(QgsSingleSymbolRenderer(cross))
    residual = f'round(1000 * sqrt("{CONTROL_POINTS.residual_x_m}" ^ 2 + "{CONTROL_POINTS.residual_y_m}" ^ 2), 1)'
    left_out = QgsExpression.quotedString(" " + tr("not used"))
    used = f"CASE WHEN \"{CONTROL_POINTS.used}\" THEN '' ELSE {left_out} END"
    label(
        layer,
        f"\"{CONTROL_POINTS.point_id}\" || coalesce(': ' || {residual} || ' mm', ':') || {used}",
        6.5,
        smallest_scale=30.0,
    )


def style_coverage(layer) -> None:
    """Everything outside the polygons is hatched: not scanned is unknown."""
    symbol = hatching("91,100,114,70", 0.15, 4.0)
    layer.setRenderer(QgsInvertedPolygonRenderer(QgsSingleSymbolRenderer(symbol)))


def style_penetrations(layer) -> None:
    """Circles of the true diameter with a question mark: planned, not checked against the items."""
    circle = hole_symbol({"color": "255,255,255,150", "outline_color": "#000000", "outline_style": "dash"})
    layer.setRenderer(QgsSingleSymbolRenderer(circle))
    label(layer, f"\"{PENETRATION_VERDICTS.penetration_id}\" || ' ?'", 7.0, smallest_scale=120.0)
