"""Echo of a straight metal bar to a pair of dipoles on the concrete's surface: the full wave, not rays.

A dipole's field goes down through the surface as plane waves, meets a conducting cylinder, and comes back by reciprocity as the
receiver's own field. Along the bar everything is a Fourier integral (2.5-D). For each wavenumber along it the field splits in two
that a conducting cylinder does not couple: one told by the electric field along the bar, the other by the magnetic one. Each
answers with its orders 0 (to the field at the bar) and 1 (to its slope across the bar); order 2 matters only for ka above 0.6.
This holds in the near field, where the ray picture is wrong by a tenth of the wave speed for bars under some centimetres of cover.

Conventions as in `half_space`. Sources: field of a dipole over a half-space from its plane-wave expansion (Chew, Waves and
Fields in Inhomogeneous Media, ch. 2); series of a conducting circular cylinder (Balanis, Advanced Engineering Electromagnetics,
ch. 11), at oblique incidence with the wavenumber across the bar in place of k (Wait 1955, Can. J. Phys. 33, 189-195). All from
memory; the tests hold the result against the series of a dipole beside a cylinder, travel times and back-scattering widths.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.special import h1vp, hankel1, jv, jvp

from .half_space import Spectrum, complex_permittivity, reflections, vertical_wavenumber
from .model import SPEED_OF_LIGHT_M_NS

ALONG_STEP, ACROSS_STEP = 6.0, 5.0  # rad/m: spacing of the wavenumbers along and across the bar
FARTHEST_M, OFFSET_STEP_M = 0.26, 0.02


@dataclass(frozen=True)
class EchoTable:
    """Spectra of bar echoes, without the pulse, on a grid of offsets and depths.

    Attributes
    ----------
    spectrum : Spectrum
    offsets_m, depths_m : ndarray
        Distance of the dipoles' midpoint from the bar across it, and depth of the bar's TOP.
    across, along : ndarray, complex, shape (offset, depth, frequency)
        Dipoles across and along the travel over a bar at right angles to it. The phase of the direct path 2 sqrt(x^2 + z^2)
        is taken out, so that what is left is smooth and can be interpolated.
    permittivity, speed_m_ns : float
    """

    spectrum: Spectrum
    offsets_m: np.ndarray = field(repr=False)
    depths_m: np.ndarray = field(repr=False)
    across: np.ndarray = field(repr=False)
    along: np.ndarray = field(repr=False)
    permittivity: float
    speed_m_ns: float

    def echoes(self, axis: str, offsets_m, depths_m, current: np.ndarray, time_ns: np.ndarray) -> np.ndarray:
        """Echoes in time at some offsets of bars at some depths; shape (depth, offset, time).

        `current`: spectrum of the pulse (of the dipole current), shape (frequency,). `time_ns` counts from time zero.
        """
        table = self.across if axis == "across" else self.along
        offsets, depths = np.abs(np.atleast_1d(offsets_m)), np.atleast_1d(depths_m)
        level = np.interp(depths, self.depths_m, np.arange(len(self.depths_m)))
        low = np.minimum(level.astype(int), len(self.depths_m) - 2)
        part = (level - low)[:, None]
        at_depth = table[:, low] * (1 - part) + table[:, low + 1] * part
        place = np.clip(offsets / OFFSET_STEP_M, 0, len(self.offsets_m) - 1.001)
        left = place.astype(int)
        share = (place - left)[:, None, None]
        spectra = (at_depth[left] * (1 - share) + at_depth[left + 1] * share).swapaxes(0, 1)
        delay = 2 * np.hypot(offsets, depths[:, None]) / self.speed_m_ns
        spectra = spectra * np.exp(1j * self.spectrum.omega * delay[..., None]) * current
        return self.spectrum.to_time(spectra, time_ns)


def make_table(
    spectrum: Spectrum,
    permittivity: float,
    conductivity: float,
    separation_m: float,
    height_m: float,
    radius_m: float,
    depths_m: np.ndarray,
) -> EchoTable:
    """Compute the echoes of a bar for one permittivity; see `EchoTable`."""
    offsets = np.arange(0.0, FARTHEST_M + 0.5 * OFFSET_STEP_M, OFFSET_STEP_M)
    shape = len(offsets), len(depths_m), len(spectrum.omega)
    across, along = np.zeros(shape, complex), np.zeros(shape, complex)
    speed = SPEED_OF_LIGHT_M_NS / np.sqrt(permittivity)
    phase = 2 * np.hypot(offsets[:, None], depths_m[None, :]) / speed
    for number, omega in enumerate(spectrum.omega):
        one = _OneFrequency(omega, permittivity, conductivity, height_m, radius_m, depths_m)
        across[:, :, number] = one.parallel(offsets, separation_m)
        along[:, :, number] = one.perpendicular(offsets, separation_m)
    undo = np.exp(-1j * spectrum.omega * phase[:, :, None])
    return EchoTable(spectrum, offsets, np.asarray(depths_m), across * undo, along * undo, permittivity, speed)


class _OneFrequency:
    """All that depends on the frequency alone; wavenumbers across the bar have axis 0, along it axis 1, depths axis 2."""

    def __init__(self, omega, permittivity, conductivity, height_m, radius_m, depths_m):
        self.omega = omega
        self.permittivity = complex_permittivity(omega, permittivity, conductivity)
        self.k0 = omega / SPEED_OF_LIGHT_M_NS
        self.k1_squared = self.k0**2 * self.permittivity
        largest = 1.15 * abs(np.sqrt(self.k1_squared)) + 5.0 / (np.min(depths_m) + radius_m)
        self.across = (np.arange(int(largest / ACROSS_STEP)) + 0.5) * ACROSS_STEP
        self.along = (np.arange(int(largest / ALONG_STEP)) + 0.5) * ALONG_STEP
        axis_depths = np.asarray(depths_m) + radius_m
        c, q = self.across[:, None], self.along[None, :]
        self.radial = c**2 + q**2
        kz0 = vertical_wavenumber(self.k0**2, self.radial)
        self.kz1 = vertical_wavenumber(self.k1_squared, self.radial)
        surface_te, surface_tm = reflections(kz0, self.kz1, self.permittivity)
        down = np.exp(1j * kz0 * height_m)
        self.te = -(omega / 2) * (1 + surface_te) * down / kz0
        self.tm = -(omega / 2) * (kz0 / self.k0**2) * (1 - surface_tm) * down
        self.descent = np.exp(1j * self.kz1[:, :, None] * axis_depths)
        kappa_squared = self.k1_squared - self.along**2
        kappa = np.where((root := np.sqrt(kappa_squared + 0j)).imag < 0, -root, root)
        ka = kappa * radius_m
        # Response of the cylinder to each wavenumber along it: to the field along it, and to that field's slope across it.
        electric = 4 * self.k1_squared / (omega * kappa_squared)
        magnetic = -4 * omega / kappa_squared
        slope = 2 / kappa_squared
        self.electric = electric * jv(0, ka) / hankel1(0, ka), electric * slope * jv(1, ka) / hankel1(1, ka)
        self.magnetic = magnetic * jvp(0, ka) / h1vp(0, ka), magnetic * slope * jvp(1, ka) / h1vp(1, ka)

    def _sum_across(self, component, offsets, odd: bool) -> np.ndarray:
        """Inverse transform over the wavenumber across the bar at some offsets; shape (offset, along, depth)."""
        angle = np.outer(offsets, self.across)
        kernel = (np.sin(angle) if odd else np.cos(angle)) * (ACROSS_STEP / np.pi)
        values = (1j * component if odd else component)[:, :, None] * self.descent
        # The kernel is real, so real and imaginary parts are transformed side by side.
        sums = kernel @ values.reshape(len(self.across), -1).view(float)
        return sums.view(complex).reshape(len(offsets), *values.shape[1:])

    def parallel(self, offsets, separation_m) -> np.ndarray:
        """Bar parallel to the dipoles, which are apart across it; shape (offset, depth)."""
        kx, ky = self.across[:, None], self.along[None, :]
        ey = (self.te * kx**2 + self.tm * ky**2) / self.radial
        ex = (self.tm - self.te) * kx * ky / self.radial
        ez = -self.tm * ky / self.kz1
        hy = (self.kz1 * ex - kx * ez) / self.omega
        places = np.concatenate([offsets - separation_m / 2, offsets + separation_m / 2])

        def two_way(component, odd):
            sums = self._sum_across(component, places, odd)
            return sums[: len(offsets)] * sums[len(offsets) :]

        electric = self._respond(two_way, ey, False, self.electric, 1.0)
        return electric + self._respond(two_way, hy, True, self.magnetic, -1.0)

    def perpendicular(self, offsets, separation_m) -> np.ndarray:
        """Bar at right angles to the dipoles, which are apart along it; shape (offset, depth)."""
        ky, kx = self.across[:, None], self.along[None, :]
        ey = (self.te * kx**2 + self.tm * ky**2) / self.radial
        ex = (self.tm - self.te) * kx * ky / self.radial
        ez = -self.tm * ky / self.kz1
        hx = (ky * ez - self.kz1 * ey) / self.omega
        apart = np.cos(self.along * separation_m)

        def two_way(component, odd):
            return self._sum_across(component, offsets, odd) ** 2

        magnetic = self._respond(two_way, hx, False, self.magnetic, apart)
        return magnetic + self._respond(two_way, ex, True, self.electric, -apart)

    def _respond(self, two_way, axial, odd: bool, response, factor) -> np.ndarray:
        """Echo of the bar to a field along it, summed over the wavenumbers along it; shape (offset, depth).

        `two_way(component, odd)` is the product of what reaches the bar from transmitter and receiver, `odd` whether the
        component changes sign with the wavenumber across the bar. `factor` holds what the wavenumber along it adds: the phase
        between dipoles apart along the bar, and the sign of a component that is odd in it, since the receiver's is reversed.
        """
        level = two_way(axial, odd) * (response[0] * factor)[:, None]
        slopes = two_way(1j * self.kz1 * axial, odd) + two_way(1j * self.across[:, None] * axial, not odd)
        return (level + slopes * (response[1] * factor)[:, None]).sum(axis=1) * (ALONG_STEP / np.pi)
