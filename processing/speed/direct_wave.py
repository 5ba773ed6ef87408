"""Time zero, pulse and antenna height from the direct wave; with them a first wave speed.

The recorded direct wave is matched with that of a dipole on a half-space (`half_space.direct_wave`), up to a quarter nanosecond
at 1.5 GHz after its first extremum: before the echoes of the shallowest bars. The pulse is a Ricker of fitted peak frequency where
that describes the data, otherwise its bandwidth and phase are fitted as well: the antenna is not a given. How well the
pulse fits is reported and widens the uncertainty.
"""

from dataclasses import dataclass
from typing import Optional

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import hilbert

from ..geometry.two_leg import plane_path
from ..radar.half_space import Pulse, Spectrum, base_wave, direct_wave
from ..radar.model import SPEED_OF_LIGHT_M_NS
from ..radar.preprocessing import PreparedArea

# Part of a period before and after the extremum that is matched.
WINDOW_PERIODS = (1.15, 0.375)
# Where no slab base tells it: a middle value for mature concrete at 1 to 2 GHz. A value wrong by 0.05 S/m shifts the speed by 2 %.
CONDUCTIVITY = 0.02
TRIAL_CONDUCTIVITIES = np.array([0.001, 0.005, 0.01, 0.02, 0.03, 0.045, 0.065, 0.09, 0.12, 0.16])
# What the model leaves unexplained on simulated antennas of the right kind; a worse fit widens the sigmas in proportion.
USUAL_MISFIT = 4e-4
# A Ricker pulse is given up only where it misses by much: below this, bars close to the surface and the slab's conductivity explain
# as much, and two more numbers of the pulse would take it from the permittivity (3 to 8 % of speed on simulated slabs). The general
# pulse must also lower the misfit to this share.
RICKER_MISFIT, BELIEVED_SHARE = 2e-3, 0.6
# Pulses up to this order were tried on full-wave data.
TRIED_ORDER = 3.0
# Beyond these the fit has run away; the order of a pulse with n cycles is about 4 n^2.
ORDERS, PHASE_STARTS_RAD = (0.7, 9.0), np.radians([0.0, 60.0, -60.0])


@dataclass(frozen=True)
class DirectWaveFit:
    """Result of matching the direct wave.

    Attributes
    ----------
    conductivity : float
        As given to the fit, S/m.
    lag_ns : float
        From time zero (the centre of the pulse) to the extremum of the recorded direct wave.
    pulse : Pulse
        Its phase holds the sign as well: an antenna connected the other way round has pi.
    misfit : float
        RMS of what is left, in units of the extremum.
    """

    permittivity: float
    conductivity: float
    lag_ns: float
    height_m: float
    pulse: Pulse
    misfit: float

    @property
    def penalty(self) -> float:
        """Factor on the sigmas for a pulse that the model does not describe well; 1 where it does."""
        return float(max(1.0, self.misfit / USUAL_MISFIT) ** 0.5)

    @property
    def strangeness(self) -> float:
        """Factor on the sigma of the speed for an antenna unlike any that could be tried; 1 for a Ricker pulse.

        On full-wave surveys filtered to narrow bands, whose pulses the model describes to 0.5 to 1 per cent only, bars read the
        speed 6 to 12 per cent slow: two to three times what the other sigmas allow.
        """
        if self.pulse.is_ricker:
            return 1.0
        return float(max(1.0, self.misfit / RICKER_MISFIT) ** 0.5 * max(1.0, self.pulse.order / TRIED_ORDER))


def fit_direct_wave(prepared: PreparedArea, conductivity: float = CONDUCTIVITY) -> DirectWaveFit:
    """Match the area's direct wave; never fails, but `misfit` tells when not to believe it. `conductivity` in S/m."""
    matching = _Matching(prepared, conductivity)
    ricker = matching.fit(matching.start(), general=False)
    if ricker.misfit <= RICKER_MISFIT:
        return ricker
    general = ricker
    for phase in PHASE_STARTS_RAD:
        general = min(general, matching.fit(matching.start(phase), general=True), key=lambda fit: fit.misfit)
        if general.misfit <= USUAL_MISFIT:
            break
    return general if general.misfit < BELIEVED_SHARE * ricker.misfit else ricker


def refit_antenna(prepared: PreparedArea, direct: DirectWaveFit, permittivity: float) -> DirectWaveFit:
    """Lag, height and pulse that explain the direct wave best if the permittivity is this one."""
    matching = _Matching(prepared, direct.conductivity, permittivity)
    pulse = direct.pulse
    start = np.array(
        [0.0, direct.lag_ns, np.log(direct.height_m), np.log(pulse.peak_ghz), pulse.order, pulse.phase_rad]
    )
    return matching.fit(start, general=not pulse.is_ricker)


class _Matching:
    """The recorded direct wave and the model of it, as a function of (ln permittivity, lag, ln height, ln peak, order, phase)."""

    def __init__(self, prepared: PreparedArea, conductivity: float, permittivity: Optional[float] = None):
        self.frequency = prepared.area.centre_frequency_ghz
        self.period = 1.0 / self.frequency
        window = (prepared.time_ns > -WINDOW_PERIODS[0] * self.period) & (
            prepared.time_ns < WINDOW_PERIODS[1] * self.period
        )
        self.time, self.shape = prepared.time_ns[window], prepared.direct_wave[window]
        self.spectrum = Spectrum.over(3.2 * self.frequency, 13.5 * self.period)
        self.separation, self.conductivity = prepared.area.antenna_separation_m, conductivity
        self.permittivity = permittivity
        # Bounds: dry to wet concrete; antennas from almost touching the surface to a centimetre and a half above it.
        peaks = np.log([0.4 * self.frequency, 2.2 * self.frequency])
        self.lower = np.array([np.log(3.0), -0.6 * self.period, np.log(0.001), peaks[0], ORDERS[0], -np.pi])
        self.upper = np.array([np.log(20.0), 0.9 * self.period, np.log(0.015), peaks[1], ORDERS[1], np.pi])
        self.scale = np.array([0.1, 0.03 * self.period, 0.3, 0.05, 0.3, 0.2])

    def start(self, phase_rad: float = 0.0) -> np.ndarray:
        return np.array([np.log(7.0), 0.075 * self.period, np.log(0.004), np.log(self.frequency), 2.0, phase_rad])

    def fit(self, start: np.ndarray, general: bool) -> DirectWaveFit:
        free = np.array([self.permittivity is None, True, True, True, general, general])
        values = start.copy()

        def difference(chosen):
            values[free] = chosen
            return self.model(values)[0] - self.shape

        fit = least_squares(
            difference,
            start[free],
            bounds=(self.lower[free], self.upper[free]),
            x_scale=self.scale[free],
            max_nfev=60,
        )
        values[free] = fit.x
        permittivity, height, peak = np.exp(values[[0, 2, 3]])
        turned = values[5] + (np.pi if self.model(values)[1] < 0 else 0.0)
        return DirectWaveFit(
            float(self.permittivity or permittivity),
            float(self.conductivity),
            float(values[1]),
            float(height),
            Pulse(float(peak), float(values[4]), float((turned + np.pi) % (2 * np.pi) - np.pi)),
            float(np.sqrt(np.mean(fit.fun**2))),
        )

    def model(self, values: np.ndarray):
        """The modelled direct wave, scaled to the recorded one, and its factor."""
        permittivity, height, peak = np.exp(values[[0, 2, 3]])
        field = direct_wave(
            self.spectrum.omega, self.separation, height, self.permittivity or permittivity, self.conductivity
        )
        current = Pulse(peak, values[4], values[5]).current(self.spectrum.omega)
        signal = self.spectrum.to_time(field * current, self.time + values[1])
        amplitude = signal @ self.shape / (signal @ signal)
        return amplitude * signal, amplitude


def conductivity_from_base(prepared: PreparedArea, direct: DirectWaveFit, thickness_m: float) -> float:
    """Conductivity (S/m) at which the modelled echo of the slab base is as strong, against the direct wave, as the recorded one.

    Bars above the base scatter some of its echo away, which counts as conductivity here: under two mats the result was 0.01 S/m too
    high on simulated slabs. The echo is measured on the mean of all traces, which leaves only what is flat.
    """
    area = prepared.area
    period = 1.0 / area.centre_frequency_ghz
    speed = SPEED_OF_LIGHT_M_NS / np.sqrt(direct.permittivity)
    arrival = plane_path(thickness_m, area.antenna_separation_m) / speed - direct.lag_ns
    mean = np.mean([line.traces.mean(axis=0) for line in prepared.lines], axis=0)
    near = np.abs(prepared.time_ns - arrival) < 0.75 * period
    if not near.any():
        return CONDUCTIVITY
    measured = np.abs(hilbert(mean))[near].max() / np.abs(hilbert(prepared.direct_wave)).max()
    spectrum = Spectrum.over(3.0 * area.centre_frequency_ghz, 1.3 * (arrival + 4 * period))
    pulse = direct.pulse.current(spectrum.omega)
    geometry = spectrum.omega, area.antenna_separation_m, direct.height_m, direct.permittivity
    time = np.arange(-2 * period, arrival + 3 * period, period / 30)
    ratios = []
    for conductivity in TRIAL_CONDUCTIVITIES:
        waves = direct_wave(*geometry, conductivity), base_wave(*geometry, conductivity, thickness_m)
        sent, came = (np.abs(hilbert(spectrum.to_time(wave * pulse, time))).max() for wave in waves)
        ratios.append(came / sent)
    # The echo weakens steadily with conductivity, so the logarithms can be read the other way round.
    return float(np.interp(-np.log(max(measured, 1e-9)), -np.log(ratios), TRIAL_CONDUCTIVITIES))
