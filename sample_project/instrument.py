"""What the instrument and the crew add to the waves: errors of position and time, drift, ringing, wow, offset, noise."""

from dataclasses import dataclass

import numpy as np

TIME_ZERO_NS = 1.2
TIME_ZERO_SD_NS = 0.040
START_SD_M = 0.004
SCALE_SD = 0.004
DIRECT_PEAK_COUNTS = 12_000.0
NOISE_DB = -60.0
GAIN_DRIFT = 0.05


@dataclass(frozen=True)
class PositionError:
    """True distance along the line = start_offset + nominal distance x (1 + scale). One per pass, both dipole axes."""

    start_offset_m: float
    scale: float

    def true_distances(self, nominal_m) -> np.ndarray:
        return self.start_offset_m + np.asarray(nominal_m) * (1.0 + self.scale)


@dataclass(frozen=True)
class LineErrors:
    """Errors of one recorded file. Amplitudes are parts of the direct wave's peak."""

    time_zero_shift_ns: float
    gain_drift: float
    gain_wavelength_m: float
    gain_phase_rad: float
    ringing: float
    ringing_ghz: float
    wow: float
    wow_decay_ns: float
    swing_ghz: float
    offset: float


def draw_position_error(random) -> PositionError:
    return PositionError(round(random.normal(0.0, START_SD_M), 6), round(random.normal(0.0, SCALE_SD), 6))


def draw_line_errors(random) -> LineErrors:
    return LineErrors(
        time_zero_shift_ns=round(random.normal(0.0, TIME_ZERO_SD_NS), 6),
        gain_drift=random.uniform(0.2, 0.9) * GAIN_DRIFT,
        gain_wavelength_m=random.uniform(0.8, 2.5),
        gain_phase_rad=random.uniform(0.0, 2.0 * np.pi),
        ringing=random.uniform(0.002, 0.004),
        ringing_ghz=random.uniform(0.85, 1.1),
        wow=random.uniform(0.006, 0.012),
        wow_decay_ns=random.uniform(3.0, 5.0),
        swing_ghz=random.uniform(0.06, 0.11),
        offset=random.uniform(-0.002, 0.002),
    )


def record(waves, nominal_m, interval_ns, errors: LineErrors, random) -> np.ndarray:
    """Recorded traces in counts from waves scaled to a direct wave of peak 1, shape (trace, sample)."""
    time = np.arange(waves.shape[1]) * interval_ns
    since = np.maximum(time - TIME_ZERO_NS - errors.time_zero_shift_ns, 0.0)
    ringing = errors.ringing * np.exp(-since / 4.0) * np.sin(2.0 * np.pi * errors.ringing_ghz * since)
    phase = 2.0 * np.pi * np.asarray(nominal_m) / errors.gain_wavelength_m + errors.gain_phase_rad
    gain = 1.0 + errors.gain_drift * np.sin(phase)
    # The wow follows the coupling to the surface, which wanders along the line.
    wow = errors.wow * (np.exp(-since / errors.wow_decay_ns) + 0.4 * np.sin(2.0 * np.pi * errors.swing_ghz * time))
    coupling = 1.0 + 0.2 * np.sin(0.7 * phase + 1.0)
    noise = random.normal(0.0, 10.0 ** (NOISE_DB / 20.0), waves.shape)
    traces = (waves + ringing) * gain[:, None] + np.outer(coupling, wow) + errors.offset + noise
    return DIRECT_PEAK_COUNTS * traces
