"""Values of fields, which stand in files as they are, and what a person reads for them."""

from typing import Optional

from ..language import tr
from .statuses import STATUSES
from .surfaces import SURFACES

# Of fields that hold neither kinds, surfaces, statuses nor verdicts.
_OTHERS = {
    "error": tr("error"),
    "warning": tr("warning"),
    "note": tr("note"),
    "fitted": tr("fitted"),
    "not positioned": tr("not positioned"),
    "fit of areas": tr("fit of areas"),
    "hand edits": tr("hand edits"),
    "joining of items": tr("joining of items"),
    "all instruments": tr("all instruments"),
    "never scanned": tr("never scanned"),
    "scanned in one direction only": tr("scanned in one direction only"),
    "not seen that deep": tr("not seen that deep"),
    "core": tr("core"),
    "drill_hole": tr("drill hole"),
    "breakout": tr("breakout"),
    "drawing": tr("drawing"),
    "similarity": tr("similarity"),
    "affine": tr("affine"),
    "across": tr("across"),
    "along": tr("along"),
}


def word(value: Optional[str]) -> str:
    """What a person reads for the value of a field; anything else stands as it is."""
    for table in (SURFACES, STATUSES):
        if value in table:
            return table[value].word
    return _OTHERS.get(value or "", value or "")


def method_words(method: Optional[str]) -> str:
    """How a wave speed was found: the field names what took part, and how many depths were known."""
    of_radar, _, known = (method or "").partition(", ")
    words = {
        "direct wave": tr("direct wave"),
        "direct wave and bar echoes": tr("direct wave and bar echoes"),
    }.get(of_radar, of_radar)
    number = known.removesuffix(" known")
    return tr("{method}, {number} known", method=words, number=number) if number else words
