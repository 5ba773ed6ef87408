"""The tests a surveyor signs: critical values, smallest detectable errors, the variance factor's interval, error ellipses.

Formulas: W. Baarda, A testing procedure for use in geodetic networks (1968; quoted from memory); Ghilani and Wolf, Adjustment
Computations (chapters on blunder detection and on error ellipses).
"""

from statistics import NormalDist
from typing import Tuple

import numpy as np


def critical_ratio(significance: float) -> float:
    """Two-sided critical value of a standardized residual: a good observation exceeds it with probability `significance`."""
    return NormalDist().inv_cdf(1.0 - significance / 2.0)


def detectable_shift(significance: float, power: float) -> float:
    """Baarda's delta 0: the shift of a standardized residual that the test finds with probability `power`.

    The smallest detectable error of an observation is this times sigma over the square root of its redundancy number.
    """
    return critical_ratio(significance) + NormalDist().inv_cdf(power)


def critical_tau(degrees_of_freedom: int, significance: float) -> float:
    """Two-sided critical value of a residual over its own sigma where sigma is estimated from the same residuals (A. Pope, The
    statistics of residuals and the detection of outliers, NOAA 1976; quoted from memory); two or more degrees of freedom.
    """
    from scipy.special import stdtrit

    t = float(stdtrit(degrees_of_freedom - 1, 1.0 - significance / 2.0))
    return float(np.sqrt(degrees_of_freedom) * t / np.sqrt(degrees_of_freedom - 1 + t**2))


def variance_factor_interval(degrees_of_freedom: int, probability: float = 0.95) -> Tuple[float, float]:
    """Where the variance factor lies with `probability` if the stated sigmas are right (chi-square over its freedom)."""
    from scipy.special import chdtri

    tail = (1.0 - probability) / 2.0
    return tuple(float(chdtri(degrees_of_freedom, share)) / degrees_of_freedom for share in (1.0 - tail, tail))


def largest_variance_factor(degrees_of_freedom: int, probability: float = 0.95) -> float:
    """One-sided limit of the variance factor: larger than this, the stated sigmas are too small."""
    from scipy.special import chdtri

    return float(chdtri(degrees_of_freedom, 1.0 - probability)) / degrees_of_freedom


def ellipse(covariance, probability: float = 0.95) -> Tuple[float, float, float]:
    """Semi-axes (major, minor; in the unit of the coordinates) and direction of the major axis (rad, anticlockwise from x, 0 to
    pi) of the ellipse that holds a position with `probability`; `covariance` has shape (2, 2).
    """
    factor = np.sqrt(-2.0 * np.log(1.0 - probability))  # chi-square of two degrees of freedom, in closed form
    values, vectors = np.linalg.eigh(np.asarray(covariance, float))
    minor, major = factor * np.sqrt(np.maximum(values, 0.0))
    return float(major), float(minor), float(np.arctan2(vectors[1, 1], vectors[0, 1]) % np.pi)
