"""One object from several observations of it: course, uncertainty, kind, and how sure it is that there is one.

Observations are of two sorts. *Parts* are seen by areas of one survey, each along a stretch of its own; *repeats* are surveys that
saw the same stretch again. Whether two are of one object at all is decided in `same_object`.

**Position and depth** are means weighted by inverse variances, which least squares of uncorrelated observations gives (Gauss and
Markov). Each observation i has an error of its own (1-sigma a_i) and one that it may share with others: s_i, of the fit to control
points or from the wave speed. Weights are w_i = (1/v_i) / sum(1/v_j) with v_i = a_i^2 + s_i^2; the variance of the mean follows by
propagation of covariances (JCGM 100:2008, 5.2.2, eq. 13):

    var = sum_i w_i^2 a_i^2 + sum_ij w_i w_j s_i s_j [i and j share that error]

so that what is shared never averages out, and n observations that share everything are worth one. Where they differ by more than
their sigmas say, var is multiplied by chi^2 / (n - 1) (Birge 1932, Phys. Rev. 40, 207), never by less than 1. Parts lie end to end,
where nothing averages out but in short overlaps: a joined item has the root mean square of its parts' sigmas.

**Kind**: the geometric mean of the observations' probabilities (a logarithmic opinion pool; Genest and Zidek 1986, Statistical
Science 1, 114-135; from memory). What makes one thing look like another is in the concrete and in our rules, so that observations
err alike and agreeing does not make them surer. Their product, which takes them for independent, would also count the prior odds
once for each.

**Confidence** that there is an object at all: parts are looks at different stretches, all wrong with the product of their chances
if these are independent: 1 - prod(1 - c_i). Where they err alike this is an upper limit; to reckon with an object that is not
there is the safe side. Repeats meet the same clutter and the same multiples again: they have the confidence of the surest.
"""

from dataclasses import replace
from typing import Dict, List, Mapping, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.kinds import KINDS, PLASTIC_CONDUIT, TENDON
from ..geometry.along_axis import along_across, chord_direction, straight_on
from .model import Item

VERTEX_STEP_M = 0.05
# A part counts less towards its own ends: from a tenth to all of its weight over this length, metres.
TAPER_M, LEAST_WEIGHT = 0.15, 0.1
# A tiny weight beyond its ends, fading over this length, bridges a gap between two parts by the straight continuation of both.
OUTSIDE_WEIGHT, OUTSIDE_M = 1e-6, 0.05
# A kind that an observation gives no chance at all keeps this one: no observation rules a kind out for all others.
LEAST_PROBABILITY = 1e-4


def combine(parts: Sequence[Item]) -> Item:
    """One item from parts of the same object (at least one), with the id of the first."""
    if len(parts) == 1:
        return parts[0]
    longest = max(parts, key=lambda item: np.hypot(*(item.vertices_m[-1, :2] - item.vertices_m[0, :2])))
    axis, origin = chord_direction(longest.vertices_m), longest.vertices_m[0, :2]
    courses = [(*along_across(item.vertices_m, origin, axis), item.vertices_m[:, 2]) for item in parts]
    low, high = min(s.min() for s, _, _ in courses), max(s.max() for s, _, _ in courses)
    stations = np.linspace(low, high, max(int(round((high - low) / VERTEX_STEP_M)), 1) + 1)
    values, weights = np.zeros((2, len(stations))), np.zeros((2, len(stations)))
    for item, (s, t, z) in zip(parts, courses):
        from_end = np.minimum(stations - s.min(), s.max() - stations)
        outside = OUTSIDE_WEIGHT * np.exp(np.clip(from_end, -1, 0) / OUTSIDE_M)
        taper = np.where(from_end >= 0, LEAST_WEIGHT + np.clip(from_end / TAPER_M, 0, 1), outside)
        for row, (course, sigma) in enumerate(((t, item.sigma_xy_m), (z, item.sigma_depth_m))):
            values[row] += taper / sigma**2 * straight_on(stations, s, course)
            weights[row] += taper / sigma**2
    across, depth = values / weights
    xy = origin + stations[:, None] * axis + across[:, None] * np.array([-axis[1], axis[0]])
    first = parts[0]
    areas = tuple(sorted({area for item in parts for area in item.area_ids}))
    telling = telling_kind(parts)
    strongest = max(telling, key=lambda item: item.confidence)
    return replace(
        first,
        area_ids=areas,
        vertices_m=np.column_stack([xy, depth]),
        kind_probabilities=pooled_kinds([item.kind_probabilities for item in telling]),
        confidence=float(1 - np.prod([1 - item.confidence for item in parts])),
        sigma_xy_m=usual_sigma([item.sigma_xy_m for item in parts]),
        sigma_depth_m=usual_sigma([item.sigma_depth_m for item in parts]),
        pick_count=sum(item.pick_count for item in parts),
        reasons=tr("{reasons} Seen in areas {areas}.", reasons=strongest.reasons, areas=", ".join(areas)),
    )


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


def usual_sigma(sigmas: Sequence[float]) -> float:
    """Root mean square: the 1-sigma at a place of which it is open to which part it belongs."""
    return float(np.sqrt(np.mean(np.square(sigmas))))


def telling_kind(parts: Sequence[Item]) -> List[Item]:
    """The parts that tell the kind of the whole.

    A tendon lies flat between its bends: a part of metal that shows no drape says nothing against one that does.
    """
    draped = [item for item in parts if item.kind == TENDON]
    return draped if draped and all(item.kind != PLASTIC_CONDUIT for item in parts) else list(parts)


def pooled_kinds(probabilities: Sequence[Mapping[str, float]]) -> Dict[str, float]:
    """Probabilities of all kinds from those of several observations: their geometric mean, made to sum to 1, to four digits."""
    values = np.array([[one.get(kind) or 0.0 for kind in KINDS] for one in probabilities])
    logs = np.log(np.clip(values, LEAST_PROBABILITY, 1.0)).mean(axis=0)
    shares = np.exp(logs - logs.max())
    return dict(zip(KINDS, (shares / shares.sum()).round(4).tolist()))


def updated(value: float, sigma: float, measured: Sequence[float], sigmas: Sequence[float]) -> Tuple[float, float]:
    """A value and its 1-sigma after independent measurements of it: the mean by inverse variance (one step of a Kalman filter)."""
    weights = np.array([sigma, *sigmas], float) ** -2
    return float(weights @ [value, *measured] / weights.sum()), float(weights.sum() ** -0.5)
