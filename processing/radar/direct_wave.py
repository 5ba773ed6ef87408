"""Time zero, pulse frequency and antenna height from the direct wave; with them a first wave speed.

The recorded direct wave is matched with that of a dipole on a half-space (`half_space.direct_wave`), up to a quarter nanosecond
at 1.5 GHz after its first extremum: before the echoes of the shallowest bars. The pulse is a Ricker of fitted peak frequency; how
well it fits is reported and widens the uncertainty where another antenna's pulse is not of that kind.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import hilbert

from .half_space import Spectrum, base_wave, direct_wave, ricker_current
from .model import SPEED_OF_LIGHT_M_NS
from .prepare import PreparedArea

# Part of a period before and after the extremum that is matched.
WINDOW_PERIODS = (1.15, 0.375)
# Where no slab base tells it: a middle value for mature concrete at 1 to 2 GHz. A value wrong by 0.05 S/m shifts the speed by 2 %.
CONDUCTIVITY = 0.02
TRIAL_CONDUCTIVITIES = np.array([0.001, 0.005, 0.01, 0.02, 0.03, 0.045, 0.065, 0.09, 0.12, 0.16])
# What the model leaves unexplained on simulated antennas of the right kind; a worse fit widens the sigmas in proportion.
USUAL_MISFIT = 4e-4


@dataclass(frozen=True)
class DirectWaveFit:
    """Result of matching the direct wave.

    Attributes
    ----------
    conductivity : float
        As given to the fit, S/m.
    lag_ns : float
        From time zero to the extremum of the recorded direct wave.
    misfit : float
        RMS of what is left, in units of the extremum.
    """

    permittivity: float
    conductivity: float
    lag_ns: float
    height_m: float
    frequency_ghz: float
    misfit: float
    amplitude: float

    @property
    def penalty(self) -> float:
        """Factor on the sigmas for a pulse that the model does not describe well; 1 where it does."""
        return float(max(1.0, self.misfit / USUAL_MISFIT) ** 0.5)


def fit_direct_wave(prepared: PreparedArea, conductivity: float = CONDUCTIVITY) -> DirectWaveFit:
    """Match the area's direct wave; never fails, but `misfit` tells when not to believe it. `conductivity` in S/m."""
    frequency = prepared.area.centre_frequency_ghz
    period = 1.0 / frequency
    window = (prepared.time_ns > -WINDOW_PERIODS[0] * period) & (prepared.time_ns < WINDOW_PERIODS[1] * period)
    time, shape = prepared.time_ns[window], prepared.direct_wave[window]
    spectrum = Spectrum.over(3.2 * frequency, 13.5 * period)
    separation = prepared.area.antenna_separation_m

    def model(parameters):
        permittivity, height, peak = np.exp(parameters[[0, 2, 3]])
        field = direct_wave(spectrum.omega, separation, height, permittivity, conductivity)
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
        float(permittivity),
        float(conductivity),
        float(fit.x[1]),
        float(height),
        float(peak),
        misfit,
        float(model(fit.x)[1]),
    )


def conductivity_from_base(prepared: PreparedArea, direct: DirectWaveFit, thickness_m: float) -> float:
    """Conductivity (S/m) at which the modelled echo of the slab base is as strong, against the direct wave, as the recorded one.

    Bars above the base scatter some of its echo away, which counts as conductivity here: under two mats the result was 0.01 S/m too
    high on simulated slabs. The echo is measured on the mean of all traces, which leaves only what is flat.
    """
    area = prepared.area
    period = 1.0 / area.centre_frequency_ghz
    speed = SPEED_OF_LIGHT_M_NS / np.sqrt(direct.permittivity)
    arrival = np.hypot(2 * thickness_m, area.antenna_separation_m) / speed - direct.lag_ns
    mean = np.mean([line.traces.mean(axis=0) for line in prepared.lines], axis=0)
    near = np.abs(prepared.time_ns - arrival) < 0.75 * period
    if not near.any():
        return CONDUCTIVITY
    measured = np.abs(hilbert(mean))[near].max() / np.abs(hilbert(prepared.direct_wave)).max()
    spectrum = Spectrum.over(3.0 * area.centre_frequency_ghz, 1.3 * (arrival + 4 * period))
    pulse = ricker_current(spectrum.omega, direct.frequency_ghz)
    geometry = spectrum.omega, area.antenna_separation_m, direct.height_m, direct.permittivity
    time = np.arange(-2 * period, arrival + 3 * period, period / 30)
    ratios = []
    for conductivity in TRIAL_CONDUCTIVITIES:
        waves = direct_wave(*geometry, conductivity), base_wave(*geometry, conductivity, thickness_m)
        sent, came = (np.abs(hilbert(spectrum.to_time(wave * pulse, time))).max() for wave in waves)
        ratios.append(came / sent)
    # The echo weakens steadily with conductivity, so the logarithms can be read the other way round.
    return float(np.interp(-np.log(max(measured, 1e-9)), -np.log(ratios), TRIAL_CONDUCTIVITIES))
