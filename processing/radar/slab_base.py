"""The slab base (back wall): seen where, how deep, and how sure.

The base is flat, so its echo stands still while the cart moves: it survives the average over many traces, where clutter does not.
Against air it reflects with the opposite sign of metal (field reflection coefficient (sqrt(e1) - sqrt(e2))/(sqrt(e1) + sqrt(e2)),
positive), which tells it from a mat, and it is the strongest such echo. A metal sheet or a mesh below is coherent too, and the
lobes of its echo beside the main one have the base's sign: beside a stronger echo of the other sign nothing is taken for a base.
"""

from typing import Optional, Tuple

import numpy as np
from scipy.signal import hilbert

from ..common.monitor import Monitor
from ..geometry.two_leg import depth_of_plane_path
from .line_groups import LineGroup
from .model import SlabBase, WaveSpeed
from .preprocessing import PreparedArea, band_pass

SMALLEST_COHERENCE = 0.6
LOCAL_COHERENCE, LOCAL_SHARE = 0.5, 0.3
AVERAGED_M, SMOOTHED_M = 0.25, 0.12
POSITIVE_PHASE_DEG = (-60.0, 150.0)
THINNEST_WAVELENGTHS = 0.9
# So far from an echo reach its lobes, those of the band-pass with them.
LOBES_PERIODS = 2.0
MODEL_SIGMA_M = 0.003


def find_slab_base(
    prepared: PreparedArea, groups, speed: WaveSpeed, x_m: np.ndarray, y_m: np.ndarray, monitor: Monitor = Monitor()
) -> SlabBase:
    """Thickness on a plan grid; all NaN where no base stands out.

    Parameters
    ----------
    groups : list of LineGroup
    x_m, y_m : ndarray, shapes (column,), (row,)
        Cell centres in the local grid.
    """
    area = prepared.area
    nothing = np.full((len(y_m), len(x_m)), np.nan)
    time = prepared.time_ns + prepared.reference_ns - speed.time_zero_ns
    analytic = {}
    turn = np.exp(-1j * speed.pulse_phase_rad)
    for number, group in enumerate(groups):
        monitor.step(0.5 * number / len(groups))
        for index, one in enumerate(group.passes):
            for axis, line in one.lines.items():
                filtered = band_pass(line.traces, prepared.interval_ns, area.centre_frequency_ghz)
                analytic[number, index, axis] = (turn * hilbert(filtered, axis=-1)).astype(np.complex64)
    where = _whole_area_base(analytic, time, speed, prepared)
    if where is None:
        return SlabBase(area.area_id, x_m, y_m, nothing, nothing.copy())
    points = []
    for (number, index, _), traces in analytic.items():
        monitor.step(0.6)
        points.append(_along_pass(groups[number], index, traces, time, where, speed, prepared))
    points = np.concatenate(points)
    thickness, sigma = _onto_grid(points, x_m, y_m)
    sigma = np.sqrt(sigma**2 + speed.depth_sigma_m(np.nan_to_num(thickness)) ** 2 + MODEL_SIGMA_M**2)
    return SlabBase(area.area_id, x_m, y_m, thickness, np.where(np.isfinite(thickness), sigma, np.nan))


def _whole_area_base(analytic, time, speed, prepared) -> Optional[Tuple[int, float]]:
    """Sample of the base echo's envelope maximum and its magnitude, from the averages of each direction and dipole axis."""
    sums = {}
    for (number, _, axis), traces in analytic.items():
        total, magnitude, count = sums.get((number, axis), (0.0, 0.0, 0))
        sums[number, axis] = total + traces.sum(axis=0), magnitude + np.abs(traces).sum(axis=0), count + len(traces)
    means = np.array([total / count for total, _, count in sums.values()])
    coherence = np.exp(
        np.mean(
            [np.log(np.abs(total) / np.maximum(magnitude, 1e-20) + 1e-9) for total, magnitude, _ in sums.values()],
            axis=0,
        )
    )
    mean = means.mean(axis=0)
    period = 1.0 / prepared.area.centre_frequency_ghz
    depth = depth_of_plane_path(speed.speed_m_ns * time, prepared.area.antenna_separation_m)
    wavelength = speed.speed_m_ns * period
    strength = np.abs(mean) * np.maximum(time, 0.0)
    phase = np.degrees(np.angle(mean))
    positive = (phase > POSITIVE_PHASE_DEG[0]) & (phase < POSITIVE_PHASE_DEG[1])
    coherent = (coherence > SMALLEST_COHERENCE) & (time > 0)
    good = coherent & positive
    good &= (depth > THINNEST_WAVELENGTHS * wavelength) & (time < time[-1] - 1.5 * period)
    peak = (strength[1:-1] >= strength[:-2]) & (strength[1:-1] > strength[2:])
    peaks = np.flatnonzero(peak) + 1
    # The direct wave is over where a base is looked for first; before that it would count as an echo.
    others = peaks[(coherent & ~positive & (depth > 0.5 * THINNEST_WAVELENGTHS * wavelength))[peaks]]
    candidates = [
        one
        for one in peaks[good[peaks]]
        if not np.any(
            (np.abs(time[others] - time[one]) < LOBES_PERIODS * period) & (np.abs(mean[others]) > np.abs(mean[one]))
        )
    ]
    if not candidates:
        return None
    best = int(max(candidates, key=lambda one: strength[one]))
    return best, float(np.abs(mean[best]))


def _along_pass(group: LineGroup, index: int, traces, time, where, speed, prepared) -> np.ndarray:
    """Thickness samples along one pass: rows of x, y, thickness."""
    best, magnitude = where
    one = group.passes[index]
    line = next(line for line in one.lines.values() if len(line.traces) == len(traces))
    period = 1.0 / prepared.area.centre_frequency_ghz
    half_window = int(0.5 * period / (time[1] - time[0]))
    window = slice(best - half_window, best + half_window + 1)
    u = one.start_m + line.distances_m
    within = np.abs(u[:, None] - u[None, :]) <= 0.5 * AVERAGED_M
    share = within / within.sum(axis=1, keepdims=True)
    mean = share @ traces[:, window]
    usual = share @ np.abs(traces[:, window])
    peak = np.argmax(np.abs(mean), axis=1)
    rows = np.arange(len(u))
    value = mean[rows, peak]
    # From the envelope's maximum back to the positive extremum, the carrier's phase at the centre frequency.
    instant = time[window][peak] - np.angle(value) / (2 * np.pi) * period
    depth = depth_of_plane_path(speed.speed_m_ns * instant, prepared.area.antenna_separation_m)
    phase = np.degrees(np.angle(value))
    good = (np.abs(value) > LOCAL_COHERENCE * usual[rows, peak]) & (np.abs(value) > LOCAL_SHARE * magnitude)
    good &= (peak > 0) & (peak < 2 * half_window) & (phase > POSITIVE_PHASE_DEG[0]) & (phase < POSITIVE_PHASE_DEG[1])
    places = group.to_local(u, np.full(len(u), one.offset_m))
    return np.column_stack([places, depth])[good]


def _onto_grid(points: np.ndarray, x_m, y_m) -> Tuple[np.ndarray, np.ndarray]:
    """Gaussian-weighted mean and its standard error on a grid; NaN where fewer than four samples' weight is near."""
    shape = len(y_m), len(x_m)
    weights, sums, squares = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    if len(points):
        middle = np.median(points[:, 2])
        # The weight of a point separates into x and y, so the whole grid is one matrix product.
        in_x = np.exp(-0.5 * ((points[:, 0][:, None] - x_m) / SMOOTHED_M) ** 2)
        in_y = np.exp(-0.5 * ((points[:, 1][:, None] - y_m) / SMOOTHED_M) ** 2)
        value = points[:, 2] - middle
        weights, sums, squares = (
            in_y.T @ (in_x * factor[:, None]) for factor in (np.ones(len(value)), value, value**2)
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = sums / weights
        scatter = np.sqrt(np.maximum(squares / weights - mean**2, 0.0))
        known = weights > 4.0
        # Neighbouring averages overlap, so the samples under the bell count for about a tenth of their number.
        error = scatter / np.sqrt(np.maximum(weights / 10.0, 1.0))
    if not len(points):
        return np.full(shape, np.nan), np.full(shape, np.nan)
    return np.where(known, mean + middle, np.nan), np.where(known, error, np.nan)
