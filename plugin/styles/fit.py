"""How ties, seams, walls and error ellipses are drawn."""

from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsFillSymbol,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsRendererCategory,
    QgsSingleSymbolRenderer,
)

from ...processing.common.language import tr
from ...processing.store.schema import SEAMS, TIES, WALLS
from .labels import label

AGREES, DISAGREES = "#0072b2", "#d55e00"


def style_ties(layer) -> None:
    """A diamond where a feature ties two areas; hollow and orange where it was left out."""
    used = QgsMarkerSymbol.createSimple({"name": "diamond", "color": AGREES, "outline_style": "no", "size": "2.2"})
    left_out = QgsMarkerSymbol.createSimple(
        {"name": "diamond", "color": "#ffffff", "outline_color": DISAGREES, "outline_width": "0.5", "size": "2.8"}
    )
    layer.setRenderer(_two_classes(f'"{TIES.used}"', used, tr("used"), left_out, tr("left out")))


def style_seams(layer) -> None:
    """The stretch that two areas both see; thick and orange where their offsets are larger than expected."""
    agrees = QgsLineSymbol.createSimple({"color": AGREES, "width": "0.6"})
    apart = QgsLineSymbol.createSimple({"color": DISAGREES, "width": "1.2"})
    layer.setRenderer(
        _two_classes(f'"{SEAMS.agrees}"', agrees, tr("as expected"), apart, tr("further apart than expected"))
    )
    offsets = f'round(1000 * "{SEAMS.lateral_m}", 1) || \' / \' || round(1000 * "{SEAMS.depth_offset_m}", 1)'
    label(layer, offsets, 6.5, smallest_scale=30.0)


def style_walls(layer) -> None:
    """The wall as a thin line, scanned stretches thick, with the name of the elevation that holds what was found."""
    wall = QgsLineSymbol.createSimple({"color": "#5b6472", "width": "0.3"})
    scanned = QgsLineSymbol.createSimple({"color": AGREES, "width": "1.4", "capstyle": "flat"})
    layer.setRenderer(
        _two_classes(f'"{WALLS.area_id}" IS NOT NULL', scanned, tr("scanned on the wall"), wall, tr("wall"))
    )
    label(
        layer,
        f'CASE WHEN "{WALLS.area_id}" IS NOT NULL THEN "{WALLS.area_id}" ELSE "{WALLS.elevation}" END',
        7.0,
        smallest_scale=200.0,
    )


def style_error_ellipses(layer) -> None:
    """Outlines only: they are drawn enlarged and lie over everything else."""
    outline = QgsFillSymbol.createSimple({"style": "no", "outline_color": "#22303f", "outline_width": "0.3"})
    layer.setRenderer(QgsSingleSymbolRenderer(outline))


def _two_classes(expression, symbol, text, other_symbol, other_text):
    """One symbol where a condition holds, another one where it does not."""
    classes = [QgsRendererCategory(1, symbol, text), QgsRendererCategory(0, other_symbol, other_text)]
    return QgsCategorizedSymbolRenderer(f"CASE WHEN {expression} THEN 1 ELSE 0 END", classes)
