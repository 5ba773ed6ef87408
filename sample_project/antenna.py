"""The antenna pair: two short dipoles side by side at a small height over the concrete.

`across` and `along` say how the dipoles lie to the direction of travel. The pair is always broadside: the separation is
perpendicular to the dipoles, so it runs along the travel for `across` and across the travel for `along`.

All amplitudes are spectra of the field along the receiving dipole, for an emitted Ricker pulse whose centre leaves the
transmitter at time zero: free-space far field = pulse x exp(-j k r) / (4 π r).
"""

import numpy as np
from scipy.special import j0, j1

HEIGHT_M = 0.002


def ricker_spectrum(frequency_ghz, centre_ghz):
    """Spectrum of (1 - 2a) exp(-a), a = (π fc t)², centred on time zero: per ns, real."""
    ratio = np.asarray(frequency_ghz) / centre_ghz
    return 2.0 / (np.sqrt(np.pi) * centre_ghz) * ratio**2 * np.exp(-(ratio**2))


def dipole_axis_vectors(travel, axis):
    """Unit vectors of the dipoles and of the separation, shape (2,) each, for a unit vector of travel."""
    travel = np.asarray(travel, dtype=float)
    sideways = np.array([-travel[1], travel[0]])
    return (sideways, travel) if axis == "across" else (travel, -sideways)


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
    """Air and ground wave from dipole to dipole over a half-space, without the pulse: shape (frequency,).

    Free-space field of a dipole broadside plus the reflected field as a Sommerfeld integral over the horizontal wavenumber
    (standard half-space theory, e.g. Chew, Waves and Fields in Inhomogeneous Media, ch. 2; formula from memory).
    The permittivity must have a loss (negative imaginary part): it selects the branch of the square root.
    """
    return np.array([_direct(k, e, separation_m, height_m) for k, e in zip(wavenumber_air, permittivity)])


def free_field(wavenumber, distance_m):
    """Field of a dipole in free space, broadside, without the pulse."""
    q = wavenumber * distance_m
    return (1.0 - 1j / q - 1.0 / q**2) * np.exp(-1j * q) / (4.0 * np.pi * distance_m)


def _direct(k0, permittivity, separation_m, height_m):
    # Propagating waves (horizontal wavenumber k0 sin u) and evanescent ones (k0 cosh u): no singularity is left.
    u, du = _midpoints(0.0, np.pi / 2.0, 600)
    v, dv = _midpoints(0.0, np.arccosh(max(10.0, 14.0 / (height_m * k0))), 6000)
    horizontal = np.r_[k0 * np.sin(u), k0 * np.cosh(v)]
    vertical = np.r_[k0 * np.cos(u) + 0j, -1j * k0 * np.sinh(v)]
    # d(horizontal) / vertical
    measure = np.r_[np.full(len(u), du) + 0j, np.full(len(v), 1j * dv)]
    below = np.sqrt(permittivity * k0**2 - horizontal**2)
    te = (vertical - below) / (vertical + below)
    tm = (permittivity * vertical - below) / (permittivity * vertical + below)
    x = horizontal * separation_m
    first = j1(x) / x
    kernel = (j0(x) - first) * te - first * (vertical / k0) ** 2 * tm
    reflected = np.sum(measure * horizontal * np.exp(-2j * vertical * height_m) * kernel)
    return free_field(k0, separation_m) - 1j / (4.0 * np.pi) * reflected


def _midpoints(start, end, count):
    step = (end - start) / count
    return start + step * (np.arange(count) + 0.5), step
