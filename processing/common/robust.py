"""Robust statistics: what single wild values hardly move.

Source: Huber and Ronchetti, Robust Statistics, 2nd ed., Wiley 2009 (from memory).
"""

import numpy as np

# The median magnitude of normal errors times this is their standard deviation: 1 / inverse of the normal distribution at 3/4.
MAD_TO_SIGMA = 1.4826
# Residuals count in full up to so many standard deviations. Huber names 1 to 2 as good values and 1.5 as one of them (from memory).
HUBER_SIGMAS = 1.5
PASSES = 6


def robust_sigma(residuals) -> float:
    """Standard deviation of residuals (from a curve, a middle) by their median magnitude; NaN counts as missing.

    The median absolute deviation, scaled to be right for normal errors; up to half of the values may be wild.
    """
    magnitudes = np.abs(residuals)
    return float(MAD_TO_SIGMA * np.median(magnitudes[~np.isnan(magnitudes)]))


def huber_weights(residuals: np.ndarray, limit: float) -> np.ndarray:
    """Weights of Huber's estimate for reweighted least squares: 1 up to `limit`, then falling as limit / |residual|."""
    return np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12))


def fit_polynomial(x, values, weight, degree: int, smallest_sigma: float):
    """Polynomial through values by Huber's estimate, found by iteratively reweighted least squares.

    Parameters
    ----------
    x, values, weight : ndarray, shape (n,)
        Values that are not finite, or without weight, are left out; one value at least must be left.
    degree : int
        Less where there are too few values for it.
    smallest_sigma : float
        The scatter is never taken for less, in the unit of the values.

    Returns
    -------
    coefficients, covariance, sigma
        Highest power first; the covariance is scaled by the scatter `sigma` found.
    """
    use = np.isfinite(values) & (weight > 0)
    x, values, weight = x[use], values[use], weight[use] / weight[use].max()
    degree = min(degree, max(len(x) - 1, 0))
    design = np.vander(x, degree + 1)
    huber = np.ones(len(x))
    sigma = smallest_sigma
    for _ in range(PASSES):
        root = np.sqrt(weight * huber)
        coefficients = np.linalg.lstsq(design * root[:, None], values * root, rcond=None)[0]
        residual = values - design @ coefficients
        freedom = max(len(x) - degree - 1, 1) / len(x)
        sigma = max(robust_sigma(residual) / np.sqrt(freedom), smallest_sigma)
        huber = huber_weights(residual, HUBER_SIGMAS * sigma)
    normal = design.T @ (design * (weight * huber)[:, None])
    covariance = sigma**2 * np.linalg.pinv(normal)
    return coefficients, covariance, sigma
