"""Field of a short horizontal dipole just above a half-space of concrete: the direct wave and what goes down.

Convention: time factor exp(-i w t), relative permeability 1, lengths in metres, times in nanoseconds, so that w is in rad/ns and
conductivity in S/m enters as i*sigma/(w*eps0) with eps0 in ns*S/m. Frequencies are complex, w + i*a: the damping a keeps the
integrals away from the poles and stops wrap-around; it is undone after the transform back to time.

Source of the formulas: the plane-wave (Weyl, Sommerfeld) expansion of a dipole's field over a plane interface, as in Chew, Waves
and Fields in Inhomogeneous Media, ch. 2 (from memory; the limits are tested: free space, equal media, perfect conductor).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import j0, j1

from .model import SPEED_OF_LIGHT_M_NS

VACUUM_PERMITTIVITY = 8.8541878128e-3  # ns S/m: 8.8541878128e-12 F/m, CODATA 2018
DAMPING = 0.4  # per ns


@dataclass(frozen=True)
class Spectrum:
    """Complex frequencies for one record length, and the way back to time.

    `omega` has shape (frequency,), rad/ns, imaginary part `DAMPING`.
    """

    omega: np.ndarray
    step: float

    @classmethod
    def over(cls, highest_ghz: float, record_ns: float) -> "Spectrum":
        step = 2 * np.pi / record_ns
        count = int(np.ceil(highest_ghz * record_ns))
        return cls((np.arange(count) + 0.5) * step + 1j * DAMPING, step)

    def to_time(self, amplitudes: np.ndarray, time_ns: np.ndarray) -> np.ndarray:
        """Real signals at the given times; `amplitudes` has shape (..., frequency), the result (..., time)."""
        kernel = np.exp(-1j * self.omega[:, None] * time_ns[None, :])
        return (self.step / np.pi) * (amplitudes @ kernel).real


@dataclass(frozen=True)
class Pulse:
    """What the antenna radiates far off in the air: the `order`-th derivative of a Gaussian, turned in phase.

    Order 2 without a turn is a Ricker pulse, centred at t = 0. Orders in between are allowed: a higher one is a narrower band.
    `phase_rad` is added to the phase of all frequencies alike.
    """

    peak_ghz: float
    order: float = 2.0
    phase_rad: float = 0.0

    @property
    def is_ricker(self) -> bool:
        """Whether only its peak frequency, and perhaps its sign, was fitted."""
        return self.order == 2.0 and abs(np.sin(self.phase_rad)) < 1e-9

    def current(self, omega: np.ndarray) -> np.ndarray:
        """Spectrum of the current that radiates it, shape of `omega` (rad/ns)."""
        ratio = omega / (2 * np.pi * self.peak_ghz)
        # exp(-i w t) turns the other way round than the phase of a signal.
        return -1j * omega * ratio ** (self.order - 2) * np.exp(-0.5 * self.order * ratio**2 - 1j * self.phase_rad)


def vertical_wavenumber(wavenumber_squared, horizontal_squared):
    """Square root with the branch that decays away from the source (imaginary part not negative)."""
    root = np.sqrt(wavenumber_squared - horizontal_squared + 0j)
    return np.where(root.imag < 0, -root, root)


def complex_permittivity(omega, permittivity, conductivity):
    return permittivity + 1j * conductivity / (omega * VACUUM_PERMITTIVITY)


def reflections(kz_air, kz_concrete, permittivity):
    """Fresnel coefficients (TE, TM) of the surface seen from the air, in wavenumbers."""
    te = (kz_air - kz_concrete) / (kz_air + kz_concrete)
    tm = (permittivity * kz_air - kz_concrete) / (permittivity * kz_air + kz_concrete)
    return te, tm


def direct_wave(omega, separation_m, height_m, permittivity, conductivity, count: int = 600):
    """Field at the receiver, per unit current spectrum, broadside to the transmitter at the same height.

    Parameters
    ----------
    omega : ndarray, complex, shape (frequency,)
    separation_m, height_m, permittivity, conductivity : float
        Distance between the dipoles, height of both over the surface, and the concrete below.

    Returns
    -------
    ndarray, complex, shape (frequency,)
    """
    k0 = omega / SPEED_OF_LIGHT_M_NS
    q = k0 * separation_m
    in_air = 1j * omega * (1 + 1j / q - 1 / q**2) * np.exp(1j * q) / (4 * np.pi * separation_m)

    def off_surface(te, tm, _kz1):
        return te, tm

    return in_air + _returned(omega, separation_m, height_m, permittivity, conductivity, off_surface, count)


def base_wave(omega, separation_m, height_m, permittivity, conductivity, thickness_m, count: int = 600):
    """Field at the receiver by way of the base of a slab of this thickness with air below it; as `direct_wave` otherwise.

    One bounce: down through the surface, off the base, up again. With t the coefficient of the surface seen from the air, the
    base seen from inside has -t, and the two passages together 1 - t^2 (Stokes' relations).
    """

    def off_base(te, tm, kz1):
        way = np.exp(2j * kz1 * thickness_m)
        return -(1 - te**2) * te * way, -(1 - tm**2) * tm * way

    return _returned(omega, separation_m, height_m, permittivity, conductivity, off_base, count)


def _returned(omega, separation_m, height_m, permittivity, conductivity, coefficients, count):
    """What comes back from below with the given coefficients of plane waves, a function of surface TE, TM and kz inside."""
    k0 = omega / SPEED_OF_LIGHT_M_NS
    eps = complex_permittivity(omega, permittivity, conductivity)
    kr, weight = _radial_nodes(np.abs(k0).max(), height_m, permittivity, count)
    x = kr * separation_m
    bessel_ratio = j1(x) / x
    bessel_rest = j0(x) - bessel_ratio
    kz0 = vertical_wavenumber(k0[:, None] ** 2, kr**2)
    kz1 = vertical_wavenumber(k0[:, None] ** 2 * eps[:, None], kr**2)
    te, tm = coefficients(*reflections(kz0, kz1, eps[:, None]), kz1)
    integrand = np.exp(2j * kz0 * height_m) * (bessel_rest * te / kz0 - bessel_ratio * tm * kz0 / (k0**2)[:, None])
    return -omega / (4 * np.pi) * (integrand @ (kr * weight))


def _radial_nodes(highest_wavenumber, height_m, permittivity, count):
    """Nodes and weights over the horizontal wavenumber: dense where waves propagate, stretched where they only decay."""
    propagating = 1.3 * highest_wavenumber * np.sqrt(permittivity)
    end = propagating + 9.0 / max(2 * height_m, 1e-3)
    nodes, weights = _gauss_legendre(count // 2)
    parts = [(0.0, propagating), (propagating, end)]
    kr = np.concatenate([0.5 * (b - a) * nodes + 0.5 * (a + b) for a, b in parts])
    weight = np.concatenate([0.5 * (b - a) * weights for a, b in parts])
    return kr, weight


_gauss_legendre = lru_cache(maxsize=None)(np.polynomial.legendre.leggauss)
