"""Echo of a long cylinder to a pair of dipoles on the concrete, near field and all: one frequency at a time.

The dipole's field goes down as a spectrum of plane waves (Weyl), each transmitted by Fresnel; around the cylinder's axis each
plane wave is a sum of cylinder waves (Jacobi and Anger), each of which the cylinder answers; and by reciprocity the way back is
that of the receiver's own field. With X_n what the field along the axis holds of order n for the wavenumber q along it, of
transmitter (T) and receiver (R), the electric part of the echo is

    -4j ∫ dq/2π  k²/κ²  exp(-jq s)  Σ_n (-1)^n a_n X_n^T(q) X_-n^R(-q),    κ² = k² - q²,

s being how far the receiver lies along the cylinder from the transmitter; the magnetic part has +4j/κ² and h = ωμH. Plane
waves: Chew, Waves and Fields in Inhomogeneous Media, ch. 2; line source and cylinder: Balanis, Advanced Engineering
Electromagnetics, ch. 11 (from memory; the tests compare with series and with quadrature).

Both integrals leave the real axis: the branch points lie on it or just below it (to its right side), so that a way above them
meets nothing. Units: `antenna`'s, that is the field over exp(-jkr)/(4πr). Coordinates: t along the cylinder, u across it, z down.
"""

from dataclasses import dataclass
from typing import Tuple

import numpy as np

from .antenna import HEIGHT_M
from .cylinders import Sort, signs

# Wavenumbers across the cylinder: their step and how far from the real axis they run, rad/m. The step is fine enough for
# offsets up to 0.65 m.
ACROSS_STEP, ACROSS_HEIGHT = 3.0, 7.0
# Along the cylinder: on a ray at this angle, sinh(u) apart.
ALONG_ANGLE_RAD, ALONG_STEP, ALONG_SCALE = 0.4, 0.25, 10.0
# What decays by this exponent on the way down counts as nothing.
NOTHING = 10.0
# The top of a cylinder lies at this part of its axis' depth or deeper, except for stout ones just below the surface.
TOP_PART = 0.75


@dataclass(frozen=True)
class Pair:
    """Two dipoles side by side over a cylinder.

    `along` and `across` are the components of the dipoles' direction; the receiver lies `shift_m` along the cylinder and twice
    `half_steps` (in steps of the offsets) across it from the transmitter.
    """

    along: float
    across: float
    shift_m: float
    half_steps: int


class OneFrequency:
    """Fields of a dipole around cylinder axes at one depth, at offsets of whole steps up to `farthest` to either side."""

    def __init__(self, air, concrete, depth_m, offset_step_m, farthest, largest_radius_m):
        self.air, self.concrete, self.farthest = air, concrete, farthest
        self.orders = np.arange(int(np.ceil(abs(concrete) * largest_radius_m)) + 4)
        end = NOTHING / (TOP_PART * depth_m)
        u = (np.arange(int(np.arcsinh(end / ALONG_SCALE) / ALONG_STEP) + 1) + 0.5) * ALONG_STEP
        turn = np.exp(1j * ALONG_ANGLE_RAD)
        self.along = ALONG_SCALE * np.sinh(u) * turn
        self.along_weight = ALONG_STEP * ALONG_SCALE * np.cosh(u) * turn
        self.kappa_squared = concrete**2 - self.along**2
        x = (np.arange(int((1.05 * abs(concrete) + end) / ACROSS_STEP) + 1) + 0.5) * ACROSS_STEP
        across = x + 1j * ACROSS_HEIGHT * np.tanh(x / ACROSS_HEIGHT)
        weight = ACROSS_STEP / np.pi * (1 + 1j / np.cosh(np.minimum(x / ACROSS_HEIGHT, 300.0)) ** 2)
        angle = np.outer(np.arange(farthest + 1) * offset_step_m, across)
        self.cosine = (np.cos(angle) * weight).astype(np.complex64)
        self.sine = (-1j * np.sin(angle) * weight).astype(np.complex64)
        self.modes = self._modes(across, depth_m)
        self._known_answers = {}

    def _modes(self, across, depth_m):
        """Cylinder waves in the fields of a dipole along (t) and across (u): dict of (even, odd) parts.

        X_n = even_n + j odd_n and X_-n = even_n - j odd_n; each has shape (order, along, offset).
        """
        c, q, n = across, self.along[:, None], self.orders[:, None, None]
        kappa = np.sqrt(self.kappa_squared)[:, None]
        kz, fields = axial_fields(self.air, self.concrete, q, c)
        lean = (kz + 1j * c) / kappa
        turned, back = lean**n, ((kz - 1j * c) / kappa) ** n
        down = np.exp(-1j * kz * depth_m)
        cosines, sines = (turned + back) / 2 * down, (turned - back) / 2j * down
        modes = {}
        for name, field in fields.items():
            # Fields of the same dipole and kind as the axis are even in the wavenumber across, the others odd.
            even_kernel, odd_kernel = (self.cosine, self.sine) if name in ("Et", "hu") else (self.sine, self.cosine)
            modes[name] = tuple(
                self._mirrored((part * field).astype(np.complex64) @ kernel.T, kernel is self.cosine)
                for part, kernel in ((cosines, even_kernel), (sines, odd_kernel))
            )
        return modes

    def _mirrored(self, values, is_even):
        """Values at offsets of either sign, from those at 0, 1, 2, ... steps."""
        other_side = values[:, :, :0:-1]
        return np.concatenate([other_side if is_even else -other_side, values], axis=2)

    def echoes(self, pair: Pair, offsets: range, sorts: Tuple[Sort, ...]) -> np.ndarray:
        """Echoes of cylinders of all sorts at these offsets (in steps) of the dipoles' midpoint: (sort, offset)."""
        half = pair.half_steps
        transmitter = self._at(range(offsets.start + half, offsets.stop + half, offsets.step))
        receiver = self._at(range(offsets.start - half, offsets.stop - half, offsets.step))
        out = np.zeros((len(sorts), len(offsets)), np.complex64)
        apart = self.along * pair.shift_m
        both = pair.along * pair.across
        squares = (("t", "t", pair.along**2), ("u", "u", pair.across**2))
        mixed = (("u", "t", both), ("t", "u", both))
        kinds = [("E", "E"), ("h", "h")]
        if not all(sort.is_metal for sort in sorts):
            kinds += [("h", "E"), ("E", "h")]
        for phase, terms in ((np.cos(apart), squares), (-1j * np.sin(apart), mixed)):
            terms = [term for term in terms if abs(term[2]) > 1e-9]
            if not terms:
                continue
            for sent, received in kinds:
                product = 0.0
                for a, b, factor in terms:
                    # The receiver's field is that for -q, which turns the sign of these two.
                    factor = np.float32(-factor if received + b in ("Eu", "ht") else factor)
                    product = product + factor * _orders_of_both(
                        transmitter[sent + a], receiver[received + b], sent == received
                    )
                answers = (self._answers(sorts)[sent + received] * phase).astype(np.complex64)
                out += answers.reshape(len(sorts), -1) @ product.reshape(-1, len(offsets))
        return out

    def _answers(self, sorts):
        """What each pair of incoming and received field is multiplied by, without the phase: (sort, order, along)."""
        if sorts not in self._known_answers:
            n = self.orders[:, None]
            common = 4j / np.pi * signs(n) * self.along_weight / self.kappa_squared
            electric, magnetic = -common * self.concrete**2, common
            found = [sort.coefficients(n, self.along, self.concrete, self.air) for sort in sorts]
            self._known_answers[sorts] = {
                "EE": np.array([electric * one.tm for one in found]),
                "hh": np.array([magnetic * one.te for one in found]),
                "hE": np.array([electric * one.tm_from_te for one in found]),
                "Eh": np.array([magnetic * one.te_from_tm for one in found]),
            }
        return self._known_answers[sorts]

    def _at(self, steps: range):
        """Modes at these offsets, views."""
        first = self.farthest + steps.start
        chosen = slice(first, first + len(steps) * steps.step, steps.step)
        return {name: (even[:, :, chosen], odd[:, :, chosen]) for name, (even, odd) in self.modes.items()}


def _orders_of_both(one, other, alike):
    """(X_n Y_-n ± X_-n Y_n) / 2 for coefficients that are the same for n and -n (alike), or opposite."""
    if alike:
        return one[0] * other[0] + one[1] * other[1]
    return np.complex64(1j) * (one[1] * other[0] - one[0] * other[1])


def axial_fields(air, concrete, along, across):
    """Spectra of the field along the cylinder in the concrete, from a dipole at the antenna's height.

    Returns kz in the concrete, and a dict: E or h = ωμH, from a dipole along (t) or across (u) the cylinder. "Et" and "hu" are
    even in both wavenumbers, the others odd in both.
    """
    radial = along**2 + across**2
    kz_air = _downward(air**2 - radial)
    kz = _downward(concrete**2 - radial)
    gap = np.exp(-1j * kz_air * HEIGHT_M)
    te = -1j * gap / (kz_air + kz)
    tm = -1j * gap * kz_air * kz / (air**2 * kz + concrete**2 * kz_air)
    cross = (tm - te) * along * across / radial
    across_u = (te * along**2 + tm * across**2) / radial
    return kz, {
        "Et": (te * across**2 + tm * along**2) / radial,
        "Eu": cross,
        "ht": -across * along * tm / kz - kz * cross,
        "hu": -(across**2) * tm / kz - kz * across_u,
    }


def _downward(squared):
    """Square root that decays on the way down: the imaginary part is not positive."""
    return -1j * np.sqrt(-squared)
