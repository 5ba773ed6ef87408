"""Echoes that are no objects: multiples, double bounces and the leftovers of strong neighbours.

Each rule predicts where an accepted object would throw a false echo, from path lengths alone, and how strong one would be at
most. A candidate at that place is refused unless it is stronger than that.
"""

from typing import List, Optional, Sequence

import numpy as np

from ..common.language import tr
from ..geometry.mat import PARALLEL_ECHO_SLOPE
from ..geometry.two_leg import NOMINAL_RADIUS_M
from .stack import Track


def refuse(
    candidate: Track,
    accepted: Sequence[Track],
    offsets_m: np.ndarray,
    wavelength: float,
    in_mat: bool = False,
    share: float = 0.4,
) -> Optional[str]:
    """Why a candidate is taken for a ghost of accepted objects, in words; None if nothing speaks against it.

    `offsets_m`: the passes' distances from the group's middle. `in_mat`: two or more parallel objects lie at the candidate's
    depth; bars of a second mat often lie where two bars of the first would bounce, so that rule is then not used. `share`: the
    part of the passes on which two objects must coincide to be one.
    """
    u, z = candidate.at(offsets_m)
    for other in accepted:
        du = u - other.at(offsets_m)[0]
        dz = z - other.at(offsets_m)[1]
        same = (np.abs(du) < 0.5 * wavelength) & (np.abs(dz) < 0.6 * wavelength)
        if same.mean() >= share:
            return tr("the same echo as a stronger object")
        parallel = abs(candidate.slope - other.slope) < PARALLEL_ECHO_SLOPE
        beside = np.mean(np.abs(du) < 0.45 * wavelength) >= 0.7
        close = np.mean((np.abs(du) < 0.9 * wavelength) & (np.abs(dz) < 0.5 * wavelength)) >= 0.7
        if parallel and close and candidate.strength < 0.6 * other.strength:
            return tr("a remnant beside a stronger object")
        if parallel and beside and candidate.strength < 0.6 * other.strength:
            below = np.median(dz)
            if 0.4 * wavelength < below < np.median(other.at(offsets_m)[1]) + 0.6 * wavelength:
                return tr("a multiple of the object above it")
    return None if in_mat else double_bounce(candidate, accepted, offsets_m, wavelength)


def beside_stronger(
    candidate: Track, others: Sequence[Track], offsets_m: np.ndarray, wavelength: float
) -> Optional[str]:
    """Midway between two stronger parallel objects about as deep or shallower: where their limbs cross and add up.

    What the direct wave leaves between two bars looks shallower than they are, by up to a fifth of the wavelength.
    """
    u, z = candidate.at(offsets_m)
    near = []
    for other in others:
        du = other.at(offsets_m)[0] - u
        dz = z - other.at(offsets_m)[1]
        parallel = abs(other.slope - candidate.slope) < PARALLEL_ECHO_SLOPE
        level = -0.3 * wavelength < np.median(dz) < 0.8 * wavelength
        if parallel and level and other.strength * 0.75 > candidate.strength and abs(np.median(du)) < 2.2 * wavelength:
            near.append(float(np.median(du)))
    for left in (du for du in near if du < 0):
        for right in (du for du in near if du > 0):
            if abs(left + right) < 0.25 * (right - left) and right - left < 3.0 * wavelength:
                return tr("the crossing of two neighbours' limbs")
    return None


def double_bounce(candidate, accepted, offsets_m, wavelength) -> Optional[str]:
    """Antenna - bar A - bar B - antenna: an echo between the two, deeper than both.

    With the antenna over x the path is |xA| + |AB| + |Bx|; the migration puts it where that is stationary:
    x* = xA + dx zA/(zA + zB), z* = (|AB| + sqrt(dx^2 + (zA + zB)^2))/2 - 2 r, depths to the axes (mirror image of B).
    """
    u, z = candidate.at(offsets_m)
    parents: List[Track] = [
        other
        for other in accepted
        if abs(other.slope - candidate.slope) < PARALLEL_ECHO_SLOPE and other.strength > 0.8 * candidate.strength
    ]
    for i, first in enumerate(parents):
        for second in parents[i + 1 :]:
            (u1, z1), (u2, z2) = first.at(offsets_m), second.at(offsets_m)
            z1, z2 = z1 + NOMINAL_RADIUS_M, z2 + NOMINAL_RADIUS_M
            apart = u2 - u1
            where_u = u1 + apart * z1 / (z1 + z2)
            where_z = 0.5 * (np.hypot(apart, z1 - z2) + np.hypot(apart, z1 + z2)) - 2 * NOMINAL_RADIUS_M
            near = (np.abs(u - where_u) < 0.35 * wavelength) & (np.abs(z - where_z) < 0.3 * wavelength)
            if near.mean() >= 0.6:
                return tr("a double bounce between two bars")
            # Midway between two equal bars both their limbs arrive at once, at the distance of either.
            limb_z = np.hypot(apart / 2, 0.5 * (z1 + z2)) - NOMINAL_RADIUS_M
            near = (np.abs(u - 0.5 * (u1 + u2)) < 0.25 * wavelength) & (np.abs(z - limb_z) < 0.25 * wavelength)
            if near.mean() >= 0.6:
                return tr("the crossing of two bars' limbs")
    return None
