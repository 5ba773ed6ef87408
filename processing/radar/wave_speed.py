"""Wave speed and time zero of an area."""

import numpy as np

from ..monitor import Monitor
from .direct_wave import SPEED_SIGMA, TIME_ZERO_SIGMA, fit_direct_wave
from .model import SPEED_OF_LIGHT_M_NS, WaveSpeed
from .prepare import PreparedArea

# Plausible for concrete from oven-dry to saturated, relative permittivity 4.0 to 18.3; outside it the result is flagged.
PLAUSIBLE_M_NS = (0.07, 0.15)
WORST_MISFIT = 0.01


def estimate_wave_speed(prepared: PreparedArea, monitor: Monitor = Monitor()) -> WaveSpeed:
    """Wave speed and time zero, with sigmas that grow where the antenna's pulse is not of the modelled kind."""
    monitor.step(0.0)
    area = prepared.area
    direct = fit_direct_wave(prepared)
    monitor.step(0.5)
    speed = SPEED_OF_LIGHT_M_NS / np.sqrt(direct.permittivity)
    warnings = []
    if direct.misfit > WORST_MISFIT:
        warnings.append(
            f"the direct wave differs from the antenna model by {100 * direct.misfit:.1f} % of its peak (antenna separation "
            f"{1000 * area.antenna_separation_m:.0f} mm, frequency {area.centre_frequency_mhz:.0f} MHz as stated); check both. "
            "The stated uncertainties are widened."
        )
    if not 0.8 < direct.frequency_ghz / area.centre_frequency_ghz < 1.25:
        warnings.append(
            f"the pulse's frequency is {1000 * direct.frequency_ghz:.0f} MHz, not {area.centre_frequency_mhz:.0f} MHz as stated."
        )
    if not PLAUSIBLE_M_NS[0] < speed < PLAUSIBLE_M_NS[1]:
        warnings.append(f"a wave speed of {speed:.3f} m/ns is not plausible for concrete; give a known depth or speed.")
    return WaveSpeed(
        area.area_id,
        float(speed),
        float(speed * SPEED_SIGMA * direct.penalty),
        float(prepared.reference_ns - direct.lag_ns),
        float(TIME_ZERO_SIGMA / area.centre_frequency_ghz * direct.penalty),
        "direct wave",
        warnings=tuple(warnings),
    )
