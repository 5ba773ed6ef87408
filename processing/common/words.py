"""Numbers as a client reads them."""

import math
from typing import Optional


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


def value_with_sigma(value: float, sigma: float, digits: int, unit: str) -> str:
    """A value with its 1-sigma and unit; without a sigma that is not known (NaN)."""
    text = f"{value:.{digits}f}{unit}"
    return text if math.isnan(sigma) else f"{text} ± {sigma:.{digits}f}{unit}"
