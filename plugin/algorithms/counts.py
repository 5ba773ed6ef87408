"""Numbers that tell a model or a script what a run found, without opening a layer."""

from qgis.core import QgsProcessingOutputNumber

from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS, kind_name

ITEM_COUNT = "ITEM_COUNT"
KIND_COUNTS = {kind: f"{kind.upper()}_COUNT" for kind in KINDS}
HELP = {
    ITEM_COUNT: tr("Number of items found."),
    **{name: tr("Number of items of the kind {kind}.", kind=kind_name(kind)) for kind, name in KIND_COUNTS.items()},
}


def count_outputs():
    """Definitions of the outputs."""
    return [QgsProcessingOutputNumber(name, HELP[name]) for name in (ITEM_COUNT, *KIND_COUNTS.values())]


def count_items(found) -> dict:
    """Their values for a step's `Found`."""
    by_kind = found.items_by_kind
    return {ITEM_COUNT: len(found.items), **{name: by_kind.get(kind, 0) for kind, name in KIND_COUNTS.items()}}
