"""The curve that a bar's echo draws in a radargram, to lay over one and read the wave speed from."""

from dataclasses import dataclass, replace

import numpy as np

from ..geometry.two_leg import NOMINAL_RADIUS_M, depth_of_path, two_leg_path
from ..radar.model import SPEED_OF_LIGHT_M_NS

SLOWEST_M_NS, FASTEST_M_NS = 0.05, 0.20  # relative permittivity 36 to 2.2: beyond any concrete


@dataclass(frozen=True)
class TravelCurve:
    """Two-way time over distance along the line, for a bar that crosses it at right angles: the exact two-leg path.

    Attributes
    ----------
    apex_m, apex_ns : float
        Distance along the line and time after time zero of the curve's top.
    separation_m : float
        Between the dipoles.
    radius_m : float
        Of the bar; the default is the one that imaging assumes.
    """

    apex_m: float
    apex_ns: float
    speed_m_ns: float
    separation_m: float
    dipole_axis: str
    radius_m: float = NOMINAL_RADIUS_M

    @property
    def depth_m(self) -> float:
        """Depth to the top of the bar, metres; 0 where the apex comes before the direct wave could."""
        path = self.apex_ns * self.speed_m_ns
        return float(depth_of_path(path, self.separation_m, self.dipole_axis, self.radius_m))

    @property
    def relative_permittivity(self) -> float:
        return (SPEED_OF_LIGHT_M_NS / self.speed_m_ns) ** 2

    def time_ns(self, distance_m) -> np.ndarray:
        """Time after time zero at distances along the line."""
        offset = np.asarray(distance_m, float) - self.apex_m
        path = two_leg_path(offset, self.depth_m, self.separation_m, self.dipole_axis, 0.0, self.radius_m)
        return path / self.speed_m_ns

    def through(self, distance_m: float, time_ns: float) -> "TravelCurve":
        """The curve with the same apex that passes a point beside it, as far as a speed of concrete makes it do so."""
        low, high = SLOWEST_M_NS, FASTEST_M_NS
        for _ in range(40):  # halving: with the apex held, a faster wave makes a flatter curve
            middle = 0.5 * (low + high)
            if replace(self, speed_m_ns=middle).time_ns(distance_m) > time_ns:
                low = middle
            else:
                high = middle
        return replace(self, speed_m_ns=0.5 * (low + high))
