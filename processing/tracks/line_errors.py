"""Errors of single passes along their travel: a late start and an encoder that runs long or short.

Many bars cross every pass. A pass that sees all of them shifted the same way was itself shifted; the bars stay straight. The
correction is a ridge estimate: small errors are expected (priors below), so that a few noisy bars do not bend a good pass.
"""

from typing import Sequence, Tuple

import numpy as np

from ..common.robust import fit_polynomial, huber_weights

# Common practice, no source: carts start within some millimetres and encoders hold some per mille.
START_SIGMA_M, SCALE_SIGMA, PICK_SIGMA_M = 0.004, 0.004, 0.0025
# Sightings count in full up to so many of their sigmas (Huber's estimate).
HUBER_SIGMAS = 2
PASSES = 4


def estimate_line_errors(w_m, u_m, weights) -> Tuple[np.ndarray, np.ndarray]:
    """Start error and scale error of each pass from straight objects.

    Parameters
    ----------
    w_m : ndarray, shape (pass,)
    u_m, weights : ndarray, shape (object, pass)
        Where each pass saw each object, and how well; NaN and 0 where it did not.

    Returns
    -------
    start_m, scale : ndarray, shape (pass,)
        A pass that read u was really at u - start - scale * (u - middle), with middle the mean of all sightings.
    """
    u_m, weights = np.asarray(u_m, float), np.asarray(weights, float)
    count = len(w_m)
    start, scale = np.zeros(count), np.zeros(count)
    known = np.isfinite(u_m) & (weights > 0)
    if u_m.size == 0 or known.sum(axis=0).max() < 2:
        return start, scale
    middle = float(np.mean(u_m[known]))
    for _ in range(PASSES):
        corrected = u_m - start - scale * (u_m - middle)
        residual = np.full_like(u_m, np.nan)
        for row in range(len(u_m)):
            if known[row].sum() >= 4:
                line, _, _ = fit_polynomial(w_m, corrected[row], np.where(known[row], weights[row], 0), 1, 0.0015)
                residual[row] = u_m[row] - np.polyval(line, w_m)
        for one in range(count):
            use = np.isfinite(residual[:, one]) & known[:, one]
            if not use.any():
                continue
            values, lever = residual[use, one], u_m[use, one] - middle
            design = np.stack([np.ones(use.sum()), lever], axis=1)
            left = values - design @ [start[one], scale[one]]
            huber = huber_weights(left, HUBER_SIGMAS * PICK_SIGMA_M) / PICK_SIGMA_M**2
            normal = design.T @ (design * huber[:, None]) + np.diag([START_SIGMA_M**-2, SCALE_SIGMA**-2])
            start[one], scale[one] = np.linalg.solve(normal, design.T @ (huber * values))
        # A shift common to all passes cannot be told from a shift of all objects: keep the mean at zero.
        start -= start.mean()
        scale -= scale.mean()
    return start, scale


def correct(u_m: np.ndarray, start: np.ndarray, scale: np.ndarray, middle: float) -> np.ndarray:
    return u_m - start - scale * (u_m - middle)


def straight_rows(found: Sequence) -> Tuple[np.ndarray, np.ndarray]:
    """Sightings and weights of all found objects, stacked for `estimate_line_errors`; each of shape (object, pass)."""
    u = np.array([one.sightings.u_m for one in found]) if found else np.zeros((0, 0))
    weights = np.array([np.where(one.sightings.seen, one.sightings.weight, 0.0) for one in found]) if found else u
    largest = weights.max(axis=1, keepdims=True) if weights.size else weights
    return u, weights / np.maximum(largest, 1e-12)
