"""Concrete as a medium for radar waves.

Time convention of the whole sample project: exp(+jωt), so a loss is a negative imaginary part.
Frequencies are GHz, lengths metres, times nanoseconds.
"""

from dataclasses import dataclass

import numpy as np

C_M_PER_NS = 0.299792458
EPSILON_0 = 8.8541878128e-12

# Concrete in Recommendation ITU-R P.2040-3 (2023), table 3: conductivity = c f^d in S/m, f in GHz, stated for 1 to 100 GHz.
P2040_C, P2040_D = 0.0462, 0.7822
CENTRE_GHZ = 1.5


def p2040_conductivity(frequency_ghz):
    """Conductivity of concrete, S/m, by ITU-R P.2040-3 table 3."""
    return P2040_C * np.asarray(frequency_ghz, dtype=float) ** P2040_D


@dataclass(frozen=True)
class Concrete:
    """Homogeneous concrete: a real permittivity of its own and the conductivity of ITU-R P.2040-3 at 1.5 GHz.

    The conductivity holds for the whole band. One that rises with frequency beside a constant permittivity would break the
    relations of Kramers and Kronig (Jackson, Classical Electrodynamics, sec. 7.10, from memory): the concrete would answer
    before the wave arrives, which shifts time zero and wave speed as read from the direct wave.
    `loss_factor` multiplies the conductivity: above 1 for damp concrete.
    """

    relative_permittivity: float
    loss_factor: float = 1.0

    @property
    def index(self) -> float:
        """Real refractive index."""
        return float(np.sqrt(self.relative_permittivity))

    @property
    def velocity_m_per_ns(self) -> float:
        return C_M_PER_NS / self.index

    def complex_permittivity(self, frequency_ghz) -> np.ndarray:
        f = np.asarray(frequency_ghz, dtype=float)
        loss = self.loss_factor * p2040_conductivity(CENTRE_GHZ) / (2e9 * np.pi * f * EPSILON_0)
        return self.relative_permittivity - 1j * loss

    def wavenumber(self, frequency_ghz) -> np.ndarray:
        """Complex wavenumber, rad/m, with a negative imaginary part: a wave runs as exp(-j k r)."""
        f = np.asarray(frequency_ghz, dtype=float)
        return free_wavenumber(f) * np.sqrt(self.complex_permittivity(f))


def free_wavenumber(frequency_ghz) -> np.ndarray:
    """Wavenumber in air, rad/m."""
    return 2.0 * np.pi * np.asarray(frequency_ghz, dtype=float) / C_M_PER_NS
