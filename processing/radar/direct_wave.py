"""Time zero, pulse frequency and antenna height from the direct wave; with them a first wave speed.

The recorded direct wave is matched with that of a dipole on a half-space (`half_space.direct_wave`), up to a quarter nanosecond
at 1.5 GHz after its first extremum: before the echoes of the shallowest bars. The pulse is a Ricker of fitted peak frequency; how
well it fits is reported and widens the uncertainty where another antenna's pulse is not of that kind.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from .half_space import Spectrum, direct_wave, ricker_current
from .prepare import PreparedArea

# Part of a period before and after the extremum that is matched.
WINDOW_PERIODS = (1.15, 0.375)
# Conductivity has little effect on the direct wave; this is a middle value for mature concrete at 1 to 2 GHz.
CONDUCTIVITY = 0.02
# What the model leaves unexplained on simulated antennas of the right kind; a worse fit widens the sigmas in proportion.
USUAL_MISFIT = 4e-4


@dataclass(frozen=True)
class DirectWaveFit:
    """Result of matching the direct wave.

    Attributes
    ----------
    lag_ns : float
        From time zero to the extremum of the recorded direct wave.
    misfit : float
        RMS of what is left, in units of the extremum.
    """

    permittivity: float
    lag_ns: float
    height_m: float
    frequency_ghz: float
    misfit: float
    amplitude: float

    @property
    def penalty(self) -> float:
        """Factor on the sigmas for a pulse that the model does not describe well; 1 where it does."""
        return float(max(1.0, self.misfit / USUAL_MISFIT) ** 0.5)


def fit_direct_wave(prepared: PreparedArea) -> DirectWaveFit:
    """Match the area's direct wave; never fails, but `misfit` tells when not to believe it."""
    frequency = prepared.area.centre_frequency_ghz
    period = 1.0 / frequency
    window = (prepared.time_ns > -WINDOW_PERIODS[0] * period) & (prepared.time_ns < WINDOW_PERIODS[1] * period)
    time, shape = prepared.time_ns[window], prepared.direct_wave[window]
    spectrum = Spectrum.over(3.2 * frequency, 13.5 * period)
    separation = prepared.area.antenna_separation_m

    def model(parameters):
        permittivity, height, peak = np.exp(parameters[[0, 2, 3]])
        field = direct_wave(spectrum.omega, separation, height, permittivity, CONDUCTIVITY)
        signal = spectrum.to_time(field * ricker_current(spectrum.omega, peak), time + parameters[1])
        amplitude = signal @ shape / (signal @ signal)
        return amplitude * signal, amplitude

    start = np.array([np.log(7.0), 0.075 * period, np.log(0.004), np.log(frequency)])
    # Bounds: dry to wet concrete; antennas from almost touching the surface to a centimetre and a half above it.
    lower = [np.log(3.0), -0.4 * period, np.log(0.001), np.log(0.4 * frequency)]
    upper = [np.log(20.0), 0.6 * period, np.log(0.015), np.log(2.2 * frequency)]
    fit = least_squares(
        lambda p: model(p)[0] - shape, start, bounds=(lower, upper), x_scale=[0.1, 0.03 * period, 0.3, 0.05]
    )
    permittivity, height, peak = np.exp(fit.x[[0, 2, 3]])
    misfit = float(np.sqrt(np.mean(fit.fun**2)))
    return DirectWaveFit(
        float(permittivity), float(fit.x[1]), float(height), float(peak), misfit, float(model(fit.x)[1])
    )
