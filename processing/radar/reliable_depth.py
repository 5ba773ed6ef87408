"""Reliable depth: how far down an area, and each part of it, counts as looked at.

Measured is where the concrete's own clutter (the scattered field of the aggregate: median magnitude of the traces after the direct
wave and flat layers were taken off) sinks into the receiver's noise. Attenuation takes a bar's echo and the clutter around it
alike, and what spreading takes from a bar is no more (a line reflector loses as 1/r, clutter from a growing volume of small
scatterers as 1/r too: 1/r^2 each, times the root of their number). So a bar or tube of the sizes that stand out at
shallow depth in this slab stands out by the same ratio down to here, less the 1.8 dB that noise of this level adds to clutter; what
is smaller than these may be missed at any depth.
"""

from typing import List, Tuple

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..geometry.two_leg import depth_of_plane_path
from .imaging import DEEPEST_M, recorded_depth_m
from .line_groups import scattered_traces
from .model import ShallowCell, SlabBase, WaveSpeed
from .preprocessing import PreparedArea, noise_gain

# 3 dB: clutter of sqrt(2) times the noise makes sqrt(3) with it.
TOTAL_OVER_NOISE = 1.73
# The median magnitude of Gaussian noise over its RMS.
MEDIAN_OF_NOISE = 0.6745
# Cells, and the wider squares whose traces tell about them, so that single echoes do not.
CELL_M, AROUND_M = 0.1, 0.3
FEWEST_TRACES = 40
# A cell is told apart from its area where it falls short by this much; its depth is rounded down to full steps.
SHORT_SHARE, DEPTH_STEP_M = 0.85, 0.05


def reliable_depths(prepared: PreparedArea, speed: WaveSpeed, base: SlabBase) -> Tuple[float, Tuple[ShallowCell, ...]]:
    """Depth down to which an area counts as looked at, metres, and the cells where it is less.

    At most the slab base, where it is seen, and the depth that the record holds. Above that, the depth where the concrete's own
    clutter still stands 3 dB over the receiver's noise: below it even the strongest echoes drown. Cells, where wet or
    denser concrete swallows more, are judged by all traces within 0.15 m of them.
    """
    area = prepared.area
    period = 1.0 / area.centre_frequency_ghz
    scattered = [
        np.abs(scattered_traces(line, prepared.interval_ns, area.centre_frequency_ghz)) for line in prepared.lines
    ]
    level = np.median([np.median(one, axis=0) / MEDIAN_OF_NOISE for one in scattered], axis=0)
    level = gaussian_filter1d(level, 0.25 * period / prepared.interval_ns)
    noise = _noise_level(prepared, level)
    drowned = np.flatnonzero((level < TOTAL_OVER_NOISE * noise) & (prepared.time_ns > period))
    instant = prepared.time_ns[drowned[0]] if len(drowned) else prepared.time_ns[-1]
    limits = [_depth_at(instant, prepared, speed), recorded_depth_m(prepared, speed), DEEPEST_M]
    if base.seen:
        limits.append(float(np.nanmedian(base.thickness_m)))
    whole = min(limits)
    return whole, tuple(_shallow_cells(prepared, speed, scattered, noise, whole))


def _noise_level(prepared: PreparedArea, level: np.ndarray) -> float:
    """White noise measured before the first arrival, as the band-pass leaves it.

    A record that starts too late to show any is taken at its end instead, where little else is left: too high rather than too low.
    """
    if prepared.noise < 1e-7:
        return float(np.median(level[-len(level) // 10 :]))
    interval = max(line.line.sample_interval_ns for line in prepared.lines)
    return prepared.noise * noise_gain(prepared.interval_ns, prepared.area.centre_frequency_ghz, 0.5 / interval)


def _depth_at(instant_ns: float, prepared: PreparedArea, speed: WaveSpeed) -> float:
    instant = instant_ns + prepared.reference_ns - speed.time_zero_ns
    return float(depth_of_plane_path(speed.speed_m_ns * instant, prepared.area.antenna_separation_m))


def _shallow_cells(prepared, speed, scattered, noise: float, whole_m: float) -> List[ShallowCell]:
    period = 1.0 / prepared.area.centre_frequency_ghz
    places = np.concatenate([line.line.trace_positions_m() for line in prepared.lines])
    # A quarter of a period apart is often enough for a level that is smoothed over a whole one.
    stride = max(int(0.25 * period / prepared.interval_ns), 1)
    time = prepared.time_ns[::stride]
    magnitudes = np.concatenate([one[:, ::stride] for one in scattered])
    late = time > period
    low, high = places.min(axis=0), places.max(axis=0)
    counts = np.maximum(np.round((high - low) / CELL_M).astype(int), 1)
    cells = []
    for row in range(counts[1]):
        for column in range(counts[0]):
            corner = low + (high - low) * [column, row] / counts
            opposite = low + (high - low) * [column + 1, row + 1] / counts
            near = np.all(np.abs(places - 0.5 * (corner + opposite)) <= 0.5 * AROUND_M, axis=1)
            if near.sum() < FEWEST_TRACES:
                continue
            level = np.median(magnitudes[near], axis=0) / MEDIAN_OF_NOISE
            # A fall by attenuation is straight in the logarithm, so that smoothing there does not make it reach deeper.
            level = np.exp(gaussian_filter1d(np.log(np.maximum(level, 1e-12)), 4.0))
            drowned = np.flatnonzero((level < TOTAL_OVER_NOISE * noise) & late)
            depth = _depth_at(time[drowned[0]], prepared, speed) if len(drowned) else np.inf
            if depth < SHORT_SHARE * whole_m:
                depth = DEPTH_STEP_M * np.floor(depth / DEPTH_STEP_M)
                cells.append(ShallowCell(*map(float, (*corner, *opposite, depth))))
    return cells
