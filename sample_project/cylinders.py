"""Answer of a circular cylinder to waves at any angle to it: metal (bar, tendon, metal conduit) or air (empty plastic conduit).

The field along the cylinder, electric (TM) or magnetic (TE), comes in as A J_n(κρ) exp(jnφ - jqt) and goes out as
-a A H_n(κρ) exp(jnφ - jqt): q is the wavenumber along the cylinder, κ² = k² - q².

Metal: Balanis, Advanced Engineering Electromagnetics, ch. 11. Dielectric, right across: Bohren and Huffman 1983, eq. 8.30 and
8.32. Dielectric, oblique: continuity of the four tangential fields, as in Wait 1955, Can. J. Phys. 33, 189-195. All from memory;
the values are compared with tables that were derived independently (see the tests). The thin wall of a plastic conduit is left
out.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import h2vp, hankel2, jv, jvp


def metal_coefficients(orders, ka):
    """Coefficients a_n (TM, TE) of a conducting cylinder; both arguments broadcast. No coupling at any angle."""
    return jv(orders, ka) / hankel2(orders, ka), jvp(orders, ka) / h2vp(orders, ka)


@dataclass(frozen=True)
class Coupled:
    """Coefficients of a dielectric cylinder: `tm` and `te` into their own kind, and into the other kind.

    The magnetic field counts as h = ωμH, in rad/m times the unit of E. The couplings change sign with n and with q.
    """

    tm: np.ndarray
    te: np.ndarray
    tm_from_te: np.ndarray
    te_from_tm: np.ndarray


def dielectric_coefficients(orders, radius_m, along, outside, inside) -> Coupled:
    """Coefficients a_n of a dielectric cylinder.

    Parameters
    ----------
    orders, along, outside, inside : ndarray, broadcasting
        n, and wavenumbers in rad/m: along the cylinder, of the host and of the filling.
    radius_m : float
    """
    kappa, kappa_inside = np.sqrt(outside**2 - along**2 + 0j), np.sqrt(inside**2 - along**2 + 0j)
    x, y = kappa * radius_m, kappa_inside * radius_m
    j, j_slope = jv(orders, x), jvp(orders, x) / kappa
    h, h_slope = hankel2(orders, x), h2vp(orders, x) / kappa
    slope = jvp(orders, y) / (kappa_inside * jv(orders, y))
    twist = 1j * orders * along / radius_m * (1 / kappa**2 - 1 / kappa_inside**2)
    # Continuity of E_φ and h_φ as two equations for what goes out, TM and TE: matrix [[p, q], [r, p]].
    p, q, r = -twist * h, h_slope - slope * h, inside**2 * slope * h - outside**2 * h_slope
    te_right = j_slope - slope * j
    tm_right = inside**2 * slope * j - outside**2 * j_slope
    determinant = p * p - q * r
    return Coupled(
        tm=(-twist * j * p - q * tm_right) / determinant,
        te=(-twist * j * p - r * te_right) / determinant,
        tm_from_te=(te_right * p + q * twist * j) / determinant,
        te_from_tm=(tm_right * p + r * twist * j) / determinant,
    )


@dataclass(frozen=True)
class Sort:
    """What tells one cylinder's echo from another's."""

    diameter_m: float
    is_metal: bool

    @property
    def radius_m(self) -> float:
        return self.diameter_m / 2.0

    def coefficients(self, orders, along, outside, air) -> Coupled:
        """Coefficients for wavenumbers along the cylinder; arguments as in `dielectric_coefficients`."""
        if self.is_metal:
            kappa = np.sqrt(outside**2 - along**2 + 0j)
            tm, te = metal_coefficients(orders, kappa * self.radius_m)
            return Coupled(tm, te, np.zeros_like(tm), np.zeros_like(te))
        return dielectric_coefficients(orders, self.radius_m, along, outside, air)


def back_scattering_width(tm_or_te, wavelength_m=1.0):
    """Width of an equivalent isotropic scatterer, seen back towards the source: metres. Axis 0 holds the orders 0, 1, ..."""
    orders = np.arange(len(tm_or_te))
    return 2.0 * wavelength_m / np.pi * np.abs(np.tensordot(signs(orders), tm_or_te, axes=1)) ** 2


def signs(orders):
    """ε_n (-1)^n: 1, -2, 2, -2, ..."""
    return np.where(orders == 0, 1.0, 2.0) * (-1.0) ** orders
