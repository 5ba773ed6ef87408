"""One value from several observations of the same object, with an uncertainty that admits what they have in common.

Each observation i has an error of its own (1-sigma a_i) and one that it may share with others: s_i, from the fit to control points
or from the wave speed. Weights are the inverse variances, w_i = (1/v_i) / sum(1/v_j) with v_i = a_i^2 + s_i^2; the variance of the
mean follows by propagation of covariances (JCGM 100:2008, 5.2.2, eq. 13):

    var = sum_i w_i^2 a_i^2 + sum_ij w_i w_j s_i s_j [i and j share that error]

so that what is shared never averages out, and n observations that share everything are worth one. Where they differ by more than
their sigmas say, var is multiplied by chi^2 / (n - 1) (Birge ratio), never by less than 1.
"""

from typing import Sequence, Tuple

import numpy as np


def combined_sigma(own: Sequence[float], common: Sequence[float], shares: np.ndarray) -> Tuple[np.ndarray, float]:
    """Weights and 1-sigma of the weighted mean.

    Parameters
    ----------
    own, common : (n,) sequence
        1-sigma of each observation's own error, and of the part that it may share; one unit throughout.
    shares : (n, n) ndarray of bool
        Whether two observations share the latter.
    """
    own, common = np.asarray(own, float), np.asarray(common, float)
    weights = 1.0 / np.maximum(own**2 + common**2, 1e-12)
    weights /= weights.sum()
    together = np.where(shares | np.eye(len(own), dtype=bool), np.outer(common, common), 0.0)
    covariance = np.diag(own**2) + together
    return weights, float(np.sqrt(weights @ covariance @ weights))


def widened(sigma: float, offsets: Sequence[float], sigmas: Sequence[float]) -> float:
    """`sigma` enlarged by the Birge ratio of offsets from their mean, where that is above 1."""
    if len(offsets) < 2:
        return sigma
    ratio = np.sum((np.asarray(offsets) / np.maximum(sigmas, 1e-9)) ** 2) / (len(offsets) - 1)
    return float(sigma * np.sqrt(max(1.0, ratio)))


def pooled(probabilities: Sequence[Sequence[float]]) -> np.ndarray:
    """Kind probabilities of several observations as one: their geometric mean (a logarithmic opinion pool), made to sum to 1.

    Two surveys err alike on a kind (what makes it look like another is in the concrete), so that agreeing does not make it surer.
    """
    logs = np.log(np.clip(np.asarray(probabilities, float), 1e-4, 1.0)).mean(axis=0)
    values = np.exp(logs - logs.max())
    return values / values.sum()


def updated(value: float, sigma: float, measured: Sequence[float], sigmas: Sequence[float]) -> Tuple[float, float]:
    """A value and its 1-sigma after independent measurements of it: the mean by inverse variance (one step of a Kalman filter)."""
    weights = np.array([sigma, *sigmas], float) ** -2
    return float(weights @ [value, *measured] / weights.sum()), float(weights.sum() ** -0.5)
