"""Numbers and names as a client reads them."""

import math
from typing import Optional, Tuple

from .language import tr


def mm(metres: Optional[float]) -> str:
    """Whole millimetres."""
    return "" if metres is None else f"{1000 * metres:.0f}"


def tenths_of_mm(metres: Optional[float]) -> str:
    """Millimetres to a tenth, as residuals and uncertainties are read."""
    return "" if metres is None else f"{1000 * float(metres):.1f}"


def plus_minus(metres: float, sigma_m: Optional[float]) -> str:
    """Whole millimetres with their 1-sigma."""
    return mm(metres) if sigma_m is None else f"{mm(metres)} ± {mm(sigma_m)}"


def per_cent(probability: float) -> str:
    """A probability, no finer than it can be known."""
    if probability < 0.001:
        return "< 0.1 %"
    return f"{100 * probability:.1f} %" if probability < 0.1 else f"{100 * probability:.0f} %"


def plane_words(plane: Tuple[str, str]) -> str:
    """Level, and from which side it was scanned."""
    level, surface = plane
    if surface == "soffit":
        return tr("{level} (scanned from below)", level=level)
    return tr("{level} (wall, elevation)", level=level) if surface == "wall" else level


# Values of fields, which stand in files as they are, and what a person reads for them.
VALUES = {
    "top": tr("top"),
    "soffit": tr("soffit"),
    "wall": tr("wall"),
    "error": tr("error"),
    "warning": tr("warning"),
    "note": tr("note"),
    "fitted": tr("fitted"),
    "not positioned": tr("not positioned"),
    "detected": tr("detected"),
    "verified": tr("verified"),
    "refuted": tr("refuted"),
    "withdrawn": tr("withdrawn"),
    "superseded": tr("superseded"),
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
    return VALUES.get(value or "", value or "")


def method_words(method: Optional[str]) -> str:
    """How a wave speed was found: the field names what took part, and how many depths were known."""
    of_radar, _, known = (method or "").partition(", ")
    words = {
        "direct wave": tr("direct wave"),
        "direct wave and bar echoes": tr("direct wave and bar echoes"),
    }.get(of_radar, of_radar)
    number = known.removesuffix(" known")
    return tr("{method}, {number} known", method=words, number=number) if number else words


def kind_words(kind: str, count: int) -> str:
    """The kind of one item or of several."""
    one, many = {
        "bar": (tr("bar"), tr("bars")),
        "tendon": (tr("tendon"), tr("tendons")),
        "metal_conduit": (tr("metal conduit"), tr("metal conduits")),
        "plastic_conduit": (tr("plastic conduit"), tr("plastic conduits")),
    }.get(kind, (tr("of unknown kind"), tr("of unknown kind")))
    return one if count == 1 else many


def verdict_words(verdict: Optional[str]) -> str:
    """A verdict of checkpenetrations; a hole without one was not checked."""
    return {
        "clear": tr("clear of what is known"),
        "too_close": tr("TOO CLOSE"),
        "hits": tr("HITS AN ITEM"),
        "unknown": tr("UNKNOWN"),
    }.get(verdict or "", tr("not checked"))


def value_with_sigma(value: float, sigma: float, digits: int, unit: str) -> str:
    """A value with its 1-sigma and unit; without a sigma that is not known (NaN)."""
    text = f"{value:.{digits}f}{unit}"
    return text if math.isnan(sigma) else f"{text} ± {sigma:.{digits}f}{unit}"
