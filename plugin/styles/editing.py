"""Forms for editing items and picks: lists to choose from, what a new row starts with, and whose it is."""

from qgis.core import QgsDefaultValue, QgsEditorWidgetSetup, QgsExpression

from ...processing.common.vocabulary.kinds import KINDS, UNKNOWN_KIND
from ...processing.common.vocabulary.statuses import DETECTED, ITEM_STATUSES, STATUSES
from ...processing.store.schema import ITEMS, PICKS

HAND_SIGMA = "0.01"
# What every run works out anew; typed values would not last.
WORKED_OUT = (
    *(
        ITEMS.kind_confidence,
        ITEMS.length_m,
        ITEMS.other_face_min_m,
        ITEMS.other_face_max_m,
        ITEMS.sigma_other_face_m,
        ITEMS.local_geometry,
    ),
    *(f"p_{kind}" for kind in KINDS),
    *(PICKS.local_x_m, PICKS.local_y_m, ITEMS.source),
)


def prepare_items(layer, level: str, surface: str) -> None:
    """Editing of the items of one plane."""
    _choose(layer, ITEMS.kind, {kind.title: key for key, kind in KINDS.items()})
    _choose(layer, ITEMS.status, {STATUSES[key].title: key for key in ITEM_STATUSES})
    defaults = {
        ITEMS.kind: f"'{UNKNOWN_KIND}'",
        ITEMS.status: f"'{DETECTED}'",
        ITEMS.confidence: "1",
        ITEMS.sigma_xy_m: HAND_SIGMA,
    }
    _prepare(layer, {**defaults, ITEMS.sigma_depth_m: HAND_SIGMA}, level, surface)


def prepare_picks(layer, level: str, surface: str) -> None:
    """Editing of the picks of one plane."""
    _prepare(layer, {PICKS.sigma_along_m: HAND_SIGMA, PICKS.sigma_depth_m: HAND_SIGMA}, level, surface)


def _prepare(layer, defaults, level: str, surface: str) -> None:
    # Without level and surface a new row would vanish from the layer, which shows one plane only.
    plane = {ITEMS.level: QgsExpression.quotedString(level), ITEMS.surface: QgsExpression.quotedString(surface)}
    for name, expression in {**defaults, **plane}.items():
        layer.setDefaultValueDefinition(layer.fields().indexOf(name), QgsDefaultValue(expression))
    # With 'apply on update': whoever changes a row makes it the surveyor's.
    layer.setDefaultValueDefinition(layer.fields().indexOf(ITEMS.source), QgsDefaultValue("'surveyor'", True))
    form = layer.editFormConfig()
    for name in WORKED_OUT:
        if layer.fields().indexOf(name) >= 0:
            form.setReadOnly(layer.fields().indexOf(name), True)
    layer.setEditFormConfig(form)


def _choose(layer, field: str, values) -> None:
    """A list of names to choose a value from."""
    config = {"map": [{name: value} for name, value in values.items()]}
    layer.setEditorWidgetSetup(layer.fields().indexOf(field), QgsEditorWidgetSetup("ValueMap", config))
