"""Forms for editing items and picks: lists to choose from, what a new row starts with, and whose it is."""

from qgis.core import QgsDefaultValue, QgsEditorWidgetSetup, QgsExpression

from ...processing.common.language import tr
from ...processing.items.model import KINDS
from .items import KIND_STYLES

HAND_SIGMA = "0.01"
STATUSES = {
    tr("Detected"): "detected",
    tr("Verified by exposure"): "verified",
    tr("Refuted: no obstacle"): "refuted",
    tr("Superseded: no obstacle"): "superseded",
}
# What every run works out anew; typed values would not last.
WORKED_OUT = (
    *("kind_confidence", "length_m", "other_face_min_m", "other_face_max_m", "sigma_other_face_m", "local_geometry"),
    *(f"p_{kind}" for kind in KINDS),
    *("local_x_m", "local_y_m", "source"),
)


def prepare_items(layer, level: str, surface: str) -> None:
    """Editing of the items of one plane."""
    _choose(layer, "kind", {style[0]: kind for kind, style in KIND_STYLES.items()})
    _choose(layer, "status", STATUSES)
    defaults = {"kind": "'unknown'", "status": "'detected'", "confidence": "1", "sigma_xy_m": HAND_SIGMA}
    _prepare(layer, {**defaults, "sigma_depth_m": HAND_SIGMA}, level, surface)


def prepare_picks(layer, level: str, surface: str) -> None:
    """Editing of the picks of one plane."""
    _prepare(layer, {"sigma_along_m": HAND_SIGMA, "sigma_depth_m": HAND_SIGMA}, level, surface)


def _prepare(layer, defaults, level: str, surface: str) -> None:
    # Without level and surface a new row would vanish from the layer, which shows one plane only.
    plane = {"level": QgsExpression.quotedString(level), "surface": QgsExpression.quotedString(surface)}
    for name, expression in {**defaults, **plane}.items():
        layer.setDefaultValueDefinition(layer.fields().indexOf(name), QgsDefaultValue(expression))
    # With 'apply on update': whoever changes a row makes it the surveyor's.
    layer.setDefaultValueDefinition(layer.fields().indexOf("source"), QgsDefaultValue("'surveyor'", True))
    form = layer.editFormConfig()
    for name in WORKED_OUT:
        if layer.fields().indexOf(name) >= 0:
            form.setReadOnly(layer.fields().indexOf(name), True)
    layer.setEditFormConfig(form)


def _choose(layer, field: str, values) -> None:
    """A list of names to choose a value from."""
    config = {"map": [{name: value} for name, value in values.items()]}
    layer.setEditorWidgetSetup(layer.fields().indexOf(field), QgsEditorWidgetSetup("ValueMap", config))
