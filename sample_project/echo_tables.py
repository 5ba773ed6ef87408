"""Echoes of cylinders for any place and direction, read from tables of `near_field`.

What the tables hold is the echo over a reference: exp(-jkL) / sqrt(l1 l2 L), with l1 and l2 the distances of transmitter and
receiver from the axis and L the way to the axis and back. The rest changes slowly, with the offset across the cylinder, the
depth (in steps of a constant ratio), the angle between dipoles and cylinder, and the frequency; so it is interpolated: cubic in
offset and depth, a spline in the frequency, a polynomial in the squared cosine of the angle. The echo is even in the offset
and in the angle, because the pair turned by half a turn is the same pair (reciprocity).
"""

from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.sparse import csr_matrix

from .materials import free_wavenumber
from .near_field import OneFrequency, Pair

DEPTH_RATIO = 1.2
# The longest way that an echo is computed for: half of it is the largest offset.
LONGEST_M = 1.2
_SHALLOWEST_M = 0.02
_FREQUENCY_STEP = 2


@lru_cache(maxsize=6)
def echo_tables(radar, concrete, sorts) -> "EchoTables":
    """The tables for one concrete and a tuple of `Sort`: they are filled as they are needed, so all who ask share them."""
    return EchoTables(radar, concrete, sorts)


class EchoTables:
    """Echoes, times the pulse, of some sorts of cylinders in one concrete."""

    def __init__(self, radar, concrete, sorts):
        self.radar, self.sorts = radar, sorts
        self.wavenumber = concrete.wavenumber(radar.frequency_ghz)
        self.air = free_wavenumber(radar.frequency_ghz)
        # Angles at which the dipoles lie a whole number of fine steps apart across the cylinder.
        self.angle_count = max(4, round(radar.separation_m / 0.010))
        self.step_m = radar.separation_m / self.angle_count
        self.offsets_m = np.arange(0.0, LONGEST_M / 2.0 + 2.5 * self.step_m, self.step_m)
        self.cosines = np.arange(self.angle_count + 1) / self.angle_count
        self._levels = {}

    def spectra(self, sort, offset_m, depth_m, cosine) -> np.ndarray:
        """Spectra of echoes, complex64, shape (trace, frequency); the other arguments have shape (trace,).

        `offset_m` is the distance of the dipoles' midpoint from the axis in plan, `depth_m` that of the axis below the surface,
        `cosine` that of the angle between dipoles and axis.
        """
        cosine = np.clip(np.abs(cosine), 0.0, 1.0)
        level = np.log(depth_m / _SHALLOWEST_M) / np.log(DEPTH_RATIO)
        lowest = int(np.floor(level.min())) - 1
        count = int(np.floor(level.max())) + 3 - lowest
        tables = np.stack([self._level(lowest + n)[self.sorts.index(sort)] for n in range(count)], axis=1)
        angles, which = np.unique(np.round(np.degrees(np.arccos(cosine)), 1), return_inverse=True)
        weights = lagrange(self.cosines**2, np.cos(np.radians(angles)) ** 2).astype(np.float32)
        out = np.zeros((len(offset_m), len(self.wavenumber)), dtype=np.complex64)
        for number in range(len(angles)):
            own = which == number
            table = np.tensordot(weights[number], tables, axes=1)
            nodes = _cubic_matrix(level[own] - lowest, count, np.abs(offset_m[own]) / self.step_m, len(self.offsets_m))
            out[own] = nodes @ table.reshape(-1, len(self.wavenumber))
        legs, way = two_way(offset_m, depth_m, cosine, self.radar.separation_m)
        wave = np.exp((-1j * np.multiply.outer(way, self.wavenumber)).astype(np.complex64))
        return out * wave / np.sqrt(legs[0] * legs[1] * way).astype(np.float32)[:, None]

    def _level(self, number):
        """Table at one depth, complex64: (sort, angle, offset, frequency)."""
        if number not in self._levels:
            self._levels[number] = self._computed(_SHALLOWEST_M * DEPTH_RATIO**number)
        return self._levels[number]

    def _computed(self, depth_m):
        radar, count = self.radar, self.angle_count
        chosen = np.unique(np.r_[np.arange(0, len(self.air), _FREQUENCY_STEP), len(self.air) - 1])
        table = np.zeros((len(self.sorts), count + 1, len(self.offsets_m), len(chosen)), complex)
        steps = range(0, 2 * len(self.offsets_m), 2)
        radius = max(sort.radius_m for sort in self.sorts)
        for place, f in enumerate(chosen):
            fields = OneFrequency(
                self.air[f], self.wavenumber[f], depth_m, self.step_m / 2.0, steps[-1] + count, radius
            )
            for angle, cosine in enumerate(self.cosines):
                sine = np.sqrt(1.0 - cosine**2)
                # The receiver lies a quarter turn from the dipoles' direction.
                pair = Pair(cosine, sine, radar.separation_m * sine, -angle)
                table[:, angle, :, place] = fields.echoes(pair, steps, self.sorts)
        legs, way = two_way(
            self.offsets_m, np.full(len(self.offsets_m), depth_m), self.cosines[:, None], radar.separation_m
        )
        reference = np.sqrt(legs[0] * legs[1] * way)[..., None] * np.exp(
            1j * np.multiply.outer(way, self.wavenumber[chosen])
        )
        pulse = radar.pulse[chosen]
        return CubicSpline(chosen, table * reference * pulse, axis=-1)(np.arange(len(self.air))).astype(np.complex64)


def two_way(offset_m, depth_m, cosine, separation_m):
    """Distances of transmitter and receiver from the axis, and the shortest way to the axis and back, metres."""
    half = separation_m * cosine / 2.0
    legs = np.hypot(offset_m - half, depth_m), np.hypot(offset_m + half, depth_m)
    return legs, np.sqrt((legs[0] + legs[1]) ** 2 + separation_m**2 * (1.0 - cosine**2))


def lagrange(nodes, places):
    """Weights of the values at the nodes for the polynomial through all of them: (place, node)."""
    weights = np.ones((len(places), len(nodes)))
    for i in range(len(nodes)):
        for j in range(len(nodes)):
            if i != j:
                weights[:, i] *= (places - nodes[j]) / (nodes[i] - nodes[j])
    return weights


def _cubic_matrix(level, level_count, place, place_count):
    """Sparse matrix (trace, level x place) of cubic interpolation on whole numbers; negative places are mirrored."""
    first_level, first_place = np.floor(level).astype(int) - 1, np.floor(place).astype(int) - 1
    level_weights = lagrange(np.arange(4.0), level - first_level)
    place_weights = lagrange(np.arange(4.0), place - first_place)
    four = np.arange(4)
    columns = (first_level[:, None] + four)[:, :, None] * place_count + np.abs(first_place[:, None] + four)[:, None, :]
    weights = (level_weights[:, :, None] * place_weights[:, None, :]).astype(np.float32)
    rows = np.repeat(np.arange(len(level)), 16)
    shape = len(level), level_count * place_count
    return csr_matrix((weights.ravel(), (rows, columns.ravel())), shape=shape)
