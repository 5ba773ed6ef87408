"""Numbers and names as a client reads them."""

from typing import Optional, Tuple

from ..language import tr


def mm(metres: Optional[float]) -> str:
    """Whole millimetres."""
    return "" if metres is None else f"{1000 * metres:.0f}"


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
