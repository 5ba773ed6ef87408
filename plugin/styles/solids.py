"""How bodies look in a view in space: the colours of the map, the scanned surface so that one sees through it.

Kinds are told apart by colour and by drawn size. In plan nothing is drawn: the map shows the same things better.
"""

from typing import Tuple

from qgis.core import Qgis, QgsNullSymbolRenderer, QgsVectorLayer
from qgis.PyQt.QtGui import QColor

from ...processing.common.errors import MissingPackageError
from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.common.vocabulary.verdicts import VERDICTS

SURFACE_COLOUR, SURFACE_OPACITY = "#9aa5b1", 0.25
BASE_COLOUR, BASE_OPACITY = "#7a6a58", 0.45


def item_look(kind: str) -> Tuple[str, float]:
    """Colour and opacity of a kind's tubes."""
    return KINDS[kind].body_colour or KINDS[kind].colour, 1.0


def hole_look(verdict: str) -> Tuple[str, float]:
    """Colour and opacity of a penetration."""
    return VERDICTS[verdict].body_colour or VERDICTS[verdict].colour, 0.8


def style_body(layer: QgsVectorLayer, colour: str, opacity: float) -> None:
    """Draw a layer's faces at their own heights, in one colour; nothing in plan.

    Where QGIS knows no opacity (before 3.26), a face that is to be seen through is left out from above and keeps its outline.

    Raises `MissingPackageError` where QGIS was built without 3-D.
    """
    try:
        from qgis._3d import Qgs3DTypes, QgsPhongMaterialSettings, QgsPolygon3DSymbol, QgsVectorLayer3DRenderer
    except ImportError as error:
        raise MissingPackageError(
            tr("This QGIS was built without 3-D; install one that has it (Debian: python3-qgis of the same version).")
        ) from error
    material = QgsPhongMaterialSettings()
    tint = QColor(colour)
    material.setDiffuse(tint)
    material.setAmbient(tint.darker(160))
    material.setSpecular(QColor("#202020"))
    if hasattr(material, "setOpacity"):
        material.setOpacity(opacity)
    symbol = QgsPolygon3DSymbol()
    if hasattr(symbol, "setMaterialSettings"):
        symbol.setMaterialSettings(material)
    else:
        symbol.setMaterial(material)
    clamping, binding = _height_enums()
    symbol.setAltitudeClamping(clamping)
    symbol.setAltitudeBinding(binding)
    symbol.setCullingMode(Qgs3DTypes.CullingMode.NoCulling)
    if opacity < 1.0:
        symbol.setEdgesEnabled(True)
        symbol.setEdgeWidth(1.5)
        symbol.setEdgeColor(tint.darker(130))
        if not hasattr(material, "setOpacity"):
            symbol.setCullingMode(Qgs3DTypes.CullingMode.Front)
    renderer = QgsVectorLayer3DRenderer(symbol)
    renderer.setLayer(layer)
    layer.setRenderer3D(renderer)
    layer.setRenderer(QgsNullSymbolRenderer())


def _height_enums():
    """Absolute heights, vertex by vertex; these enums moved between versions."""
    if hasattr(Qgis, "AltitudeClamping"):
        return Qgis.AltitudeClamping.Absolute, Qgis.AltitudeBinding.Vertex
    from qgis._3d import Qgs3DTypes

    return Qgs3DTypes.AltitudeClamping.AltClampAbsolute, Qgs3DTypes.AltitudeBinding.AltBindVertex
