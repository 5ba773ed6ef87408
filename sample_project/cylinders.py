"""Scattering of a plane wave by a circular cylinder: metal (bar, tendon, metal conduit) or air (empty plastic conduit).

Metal: Balanis, Advanced Engineering Electromagnetics, ch. 11. Dielectric: Bohren and Huffman 1983, eq. 8.30 and 8.32.
Both from memory; the values are compared with tables that were derived independently (see the tests).
The thin wall of a plastic conduit is left out, and so is the small coupling of the two polarizations by a dielectric
cylinder at oblique incidence. A conducting cylinder has no such coupling.
"""

import numpy as np
from scipy.special import h2vp, hankel2, jv, jvp

# ka of the largest cylinder here is below 4 at the highest frequency: the series has converged at this order.
ORDERS = np.arange(11)
# Oblique incidence: sine of the angle to the cylinder's axis, from 35 degrees up.
_SINES = np.linspace(0.57, 1.0, 9)
_DEGREE = 4


def metal_coefficients(ka):
    """Coefficients a_n (TM, TE) of a conducting cylinder, each of shape (order,) + ka.shape."""
    n, x = _orders_over(ka)
    return jv(n, x) / hankel2(n, x), jvp(n, x) / h2vp(n, x)


def dielectric_coefficients(ka, relative_index):
    """Coefficients a_n (TM, TE) of a dielectric cylinder; `relative_index` is its index over that of the host."""
    n, x = _orders_over(ka)
    m = np.asarray(relative_index)
    inside, inside_slope = jv(n, m * x), jvp(n, m * x)

    def ratio(weight):
        return (jv(n, x) * weight * inside_slope - jvp(n, x) * inside) / (
            hankel2(n, x) * weight * inside_slope - h2vp(n, x) * inside
        )

    return ratio(m), ratio(1.0 / m)


def back_scattering_width(coefficients, wavelength_m=1.0):
    """Width of an equivalent isotropic scatterer, seen back towards the source: metres."""
    amplitude = np.tensordot(_signs(), coefficients, axes=1)
    return 2.0 * wavelength_m / np.pi * np.abs(amplitude) ** 2


class CylinderEcho:
    """Scattering amplitudes of one kind of cylinder in one concrete, quick to evaluate for many traces.

    Parameters
    ----------
    radius_m : float
    host_wavenumber, inner_wavenumber : ndarray, shape (frequency,)
        rad/m; `inner_wavenumber` is None for metal.
    """

    def __init__(self, radius_m, host_wavenumber, inner_wavenumber=None):
        # For waves at an angle to the axis only the wavenumber across it counts. The coefficients are smooth in
        # that angle, so a polynomial in the sine stands for them.
        across = np.outer(_SINES, host_wavenumber)
        if inner_wavenumber is None:
            both = metal_coefficients(across * radius_m)
        else:
            both = dielectric_coefficients(across * radius_m, inner_wavenumber / host_wavenumber)
        powers = np.linalg.pinv(np.vander(_SINES, _DEGREE + 1))
        self._fits = [
            np.einsum("ps,nsf->npf", powers, a * _signs()[:, None, None])
            .reshape(-1, len(host_wavenumber))
            .astype(np.complex64)
            for a in both
        ]

    def amplitudes(self, bend_rad, sine):
        """TM and TE amplitudes Σ ε_n a_n (-1)^n cos(n bend), each of shape (trace, frequency).

        `bend_rad` is the angle between the two legs, seen along the axis (0 = straight back);
        `sine` is that of the angle between the legs and the axis. Both have shape (trace,).
        """
        angles = np.cos(np.multiply.outer(bend_rad, ORDERS))
        powers = np.vander(sine, _DEGREE + 1)
        basis = (angles[:, :, None] * powers[:, None, :]).reshape(len(angles), -1).astype(np.float32)
        return tuple(basis @ fit for fit in self._fits)


def _orders_over(ka):
    x = np.asarray(ka)
    return ORDERS.reshape((-1,) + (1,) * x.ndim), x[None]


def _signs():
    """ε_n (-1)^n: 1, -2, 2, -2, ..."""
    return np.where(ORDERS == 0, 1.0, 2.0) * (-1.0) ** ORDERS
