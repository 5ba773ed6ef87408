"""The kinds of items as people read them; files hold the keys (`model.KINDS`)."""

from .language import tr

NAMES = {
    "bar": tr("bar"),
    "tendon": tr("tendon"),
    "metal_conduit": tr("metal conduit"),
    "plastic_conduit": tr("plastic conduit"),
    "unknown": tr("item of unknown kind"),
}


def kind_name(kind: str) -> str:
    """The kind of one item in words; a kind that a person typed stands as it is."""
    return NAMES.get(kind, kind)
