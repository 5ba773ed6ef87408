"""The antenna pair: two short dipoles side by side at a small height over the concrete.

`across` and `along` say how the dipoles lie to the direction of travel. The pair is always broadside: the separation is
perpendicular to the dipoles, so it runs along the travel for `across` and across the travel for `along`.

All amplitudes are spectra of the field along the receiving dipole, for an emitted Ricker pulse whose centre leaves the
transmitter at time zero: free-space far field = pulse x exp(-j k r) / (4 π r).
"""

import numpy as np
from scipy.special import jv

HEIGHT_M = 0.004
_NODES = np.polynomial.legendre.leggauss(300)


def ricker_spectrum(frequency_ghz, centre_ghz):
    """Spectrum of (1 - 2a) exp(-a), a = (π fc t)², centred on time zero: per ns, real."""
    ratio = np.asarray(frequency_ghz) / centre_ghz
    return 2.0 / (np.sqrt(np.pi) * centre_ghz) * ratio**2 * np.exp(-(ratio**2))


def dipole_axis_vectors(travel, axis):
    """Unit vectors of the dipoles and of the separation, shape (2,) each, for a unit vector of travel."""
    travel = np.asarray(travel, dtype=float)
    sideways = np.array([-travel[1], travel[0]])
    return (sideways, travel) if axis == "across" else (travel, -sideways)


def antenna_positions(midpoints_m, travel, axis, separation_m):
    """Transmitter and receiver, shape (trace, 3) each with depth 0, and the dipoles' unit vector (2,)."""
    dipole, apart = dipole_axis_vectors(travel, axis)
    middle = np.c_[midpoints_m, np.zeros(len(midpoints_m))]
    half = np.r_[apart, 0.0] * separation_m / 2.0
    return middle - half, middle + half, dipole


def field_below(dipole, directions, index):
    """Field in the concrete of a dipole on its surface, over that of the same dipole in air.

    By reciprocity this is the transmission of a plane wave from the concrete to the dipole (Fresnel). Beyond the critical
    angle it is complex and the wave above is evanescent.

    Parameters
    ----------
    dipole : ndarray, shape (2,)
        Horizontal unit vector.
    directions : ndarray, shape (trace, 3)
        Unit vectors into the concrete, z down.
    index : float
        Real refractive index of the concrete.

    Returns
    -------
    field : ndarray, complex, shape (trace, 3)
    air_cosine : ndarray, complex, shape (trace,)
        Cosine of the wave's angle in the air; exp(-j k0 height cosine) is the way through the air gap.
    """
    cosine = directions[:, 2]
    sine = np.hypot(directions[:, 0], directions[:, 1])
    air_cosine = np.conj(np.sqrt((1.0 - (index * sine) ** 2).astype(complex)))
    across_plane = 2.0 * index * cosine / (index * cosine + air_cosine)
    in_plane = 2.0 * index * cosine * air_cosine / (cosine + index * air_cosine)
    # Straight down both parts are equal, so any horizontal direction will do there.
    outward = directions[:, :2] / np.maximum(sine, 1e-9)[:, None]
    along = outward @ dipole
    field = np.zeros((len(directions), 3), dtype=complex)
    field[:, :2] = across_plane[:, None] * dipole + (along * (in_plane * cosine - across_plane))[:, None] * outward
    field[:, 2] = -along * in_plane * sine
    return field, air_cosine


def direct_wave(wavenumber_air, permittivity, separation_m, height_m=HEIGHT_M):
    """Air and ground wave from dipole to dipole over a half-space, without the pulse.

    Free-space field of a dipole broadside plus the reflected field as a Sommerfeld integral over the horizontal wavenumber
    (standard half-space theory, e.g. Chew, Waves and Fields in Inhomogeneous Media, ch. 2; formula from memory).

    Parameters
    ----------
    wavenumber_air : ndarray, shape (frequency,)
        rad/m, real.
    permittivity : ndarray, complex, shape (frequency,)
        Relative permittivity below, imaginary part negative or zero.
    separation_m, height_m : float
        Distance between the dipoles, and height of both above the surface.

    Returns
    -------
    ndarray, complex, shape (frequency,)
        1/m, to be multiplied by the pulse.
    """
    return np.array([_direct(k, e, separation_m, height_m) for k, e in zip(wavenumber_air, permittivity)])


def free_field(wavenumber, distance_m):
    """Field of a dipole in free space, broadside, without the pulse: 1/m (Balanis, Antenna Theory, ch. 4; from memory)."""
    q = wavenumber * distance_m
    return (1.0 - 1j / q - 1.0 / q**2) * np.exp(-1j * q) / (4.0 * np.pi * distance_m)


def reflected_kernel(horizontal, k0, permittivity, separation_m, height_m):
    """What `direct_wave` integrates over the horizontal wavenumber, rad/m: real, or complex in the first quadrant."""
    # There these branches of the square roots are the waves that decay away from the surface.
    vertical = -1j * np.sqrt(horizontal**2 - k0**2 + 0j)
    below = -1j * np.sqrt(horizontal**2 - permittivity * k0**2 + 0j)
    te = (vertical - below) / (vertical + below)
    tm = (permittivity * vertical - below) / (permittivity * vertical + below)
    x = horizontal * separation_m
    first = jv(1, x) / x
    polarized = (jv(0, x) - first) * te - first * (vertical / k0) ** 2 * tm
    return horizontal / vertical * np.exp(-2j * vertical * height_m) * polarized


def _direct(k0, permittivity, separation_m, height_m):
    # The branch points (and the pole of a wave along the surface) lie on the real axis or just below it, up to the
    # wavenumber of the concrete. An arc above them meets nothing; after it all waves only decay. Of a metal's wavenumber
    # the height leaves nothing over.
    arc_end = min(1.5 * k0 * np.sqrt(abs(permittivity)), 3.0 / height_m)
    nodes, weights = _NODES
    angle = np.pi * (nodes + 1.0) / 2.0
    arc = arc_end * (1.0 - np.cos(angle)) / 2.0 + 0.5j * k0 * np.sin(angle)
    arc_weights = np.pi / 2.0 * weights * (arc_end * np.sin(angle) / 2.0 + 0.5j * k0 * np.cos(angle))
    half = 6.0 / height_m
    horizontal = np.r_[arc, arc_end + half * (nodes + 1.0)]
    kernel = reflected_kernel(horizontal, k0, permittivity, separation_m, height_m)
    return free_field(k0, separation_m) - 1j / (4.0 * np.pi) * np.sum(np.r_[arc_weights, half * weights] * kernel)
