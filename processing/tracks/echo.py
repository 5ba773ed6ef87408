"""The echo of one object in the traces: learnt from the data, so that it can be taken off and what it hides can be seen.

Along the object's travel time the traces of all passes line up. What they have in common there, as a function of the distance
from the object, is its echo; the echoes of other objects cross at another slope and average out.
"""

from dataclasses import dataclass, field
from typing import Dict

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..geometry.two_leg import NOMINAL_RADIUS_M, two_leg_path
from ..radar.focus import near_traces
from ..radar.line_groups import GroupImages
from ..survey.model import DIPOLE_AXES

REACH_M = 0.26
BEFORE_PERIODS, AFTER_PERIODS = 0.9, 1.3
TAPER_PERIODS = 0.3
# Amplitudes of single passes may differ from the common echo by these factors (shadow of crossing bars, coupling).
AMPLITUDE_LIMITS = (0.3, 1.7)


@dataclass
class Echo:
    """What one object adds to the traces of each dipole axis: `values[axis]` at the flat `index[axis]` of the traces."""

    index: Dict[str, np.ndarray] = field(default_factory=dict)
    values: Dict[str, np.ndarray] = field(default_factory=dict)


def add_echo(traces: np.ndarray, echo: Echo, axis: str, sign: float) -> None:
    """Add (sign +1) or take off (-1) an echo, in place. `traces` has shape (pass, trace, sample) and is contiguous."""
    # No sample occurs twice: each pass lists each of its traces once.
    traces.reshape(-1)[echo.index[axis]] += sign * echo.values[axis]


def learn_echo(images: GroupImages, traces: Dict[str, np.ndarray], u_m, depth_m, crossing_rad: float) -> Echo:
    """The echo of an object at `u_m`, `depth_m` on each pass (shape (pass,), NaN where it is not), from traces holding it.

    The common echo is the median over passes and both sides of the object, smoothed over the offset; each pass may carry it with
    its own amplitude.
    """
    echo = Echo()
    interval = images.time_ns[1] - images.time_ns[0]
    period = 1.0 / images.area.centre_frequency_ghz
    before, after = int(BEFORE_PERIODS * period / interval), int(AFTER_PERIODS * period / interval)
    taper = np.ones(before + after)
    edge = max(int(TAPER_PERIODS * period / interval), 1)
    taper[:edge] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    taper[-edge:] = taper[:edge][::-1]
    for axis in DIPOLE_AXES:
        centre = np.where(np.isfinite(u_m) & images.has[axis], u_m, -1e3)
        index, offset = near_traces(images.distances_m(axis), centre, REACH_M)
        depth = np.nan_to_num(depth_m, nan=0.1)[:, None]
        path = two_leg_path(offset, depth, images.area.antenna_separation_m, axis, crossing_rad, NOMINAL_RADIUS_M)
        position = (path / images.speed.speed_m_ns - images.time_ns[0]) / interval
        known = np.isfinite(position)
        position = np.where(known, position, 0.0)
        whole = np.floor(position).astype(np.int64)
        fraction = (position - whole)[:, :, None]
        windows = _windows(traces[axis], index, whole - before, before + after + 1)
        aligned = windows[:, :, :-1] * (1 - fraction) + windows[:, :, 1:] * fraction
        aligned[~known] = np.nan
        common = _common(aligned, offset, images)
        scale = _amplitudes(aligned, common)
        model = scale[:, None, None] * common * taper
        model[~known] = 0
        # Back onto the sample grid: the same linear interpolation the other way.
        shifted = np.zeros((*model.shape[:2], before + after + 1), model.dtype)
        shifted[:, :, :-1] += model * (1 - fraction)
        shifted[:, :, 1:] += model * fraction
        samples = (whole - before)[:, :, None] + np.arange(before + after + 1)
        inside = (samples >= 0) & (samples < traces[axis].shape[2])
        trace = np.arange(len(index))[:, None] * traces[axis].shape[1] + index
        echo.index[axis] = (trace[:, :, None] * traces[axis].shape[2] + samples)[inside]
        echo.values[axis] = shifted[inside].astype(traces[axis].dtype)
    return echo


def _windows(traces, index, first, count):
    samples = first[:, :, None] + np.arange(count)
    inside = (samples >= 0) & (samples < traces.shape[2])
    values = traces[np.arange(len(traces))[:, None, None], index[:, :, None], np.clip(samples, 0, traces.shape[2] - 1)]
    return np.where(inside, values, 0).astype(np.complex128)


def _common(aligned, offset, images):
    """Median echo by distance from the object, interpolated back to each trace; (pass, near, sample)."""
    spacing = 0.015
    count = int(REACH_M / spacing) + 1
    bins = np.round(np.abs(np.nan_to_num(offset, nan=-1.0)) / spacing).astype(int)
    bins[~np.isfinite(offset)] = -1
    table = np.zeros((count, aligned.shape[2]), complex)
    weight = np.zeros(count)
    for number in range(count):
        chosen = aligned[bins == number]
        if len(chosen):
            table[number] = np.median(chosen.view(float), axis=0).view(complex)  # of real and imaginary parts apart
            weight[number] = len(chosen)
    # The echo is even in the offset, so the mirror mode of the filter is the right one at offset 0.
    top = gaussian_filter1d(table * weight[:, None], 1.5, axis=0, mode="mirror")
    bottom = gaussian_filter1d(weight, 1.5, mode="mirror")
    table = top / np.maximum(bottom, 1e-6)[:, None]
    place = np.clip(np.abs(np.nan_to_num(offset)) / spacing, 0, count - 1.001)
    low = place.astype(int)
    part = (place - low)[:, :, None]
    return table[low] * (1 - part) + table[low + 1] * part


def _amplitudes(aligned, common):
    """Amplitude of each pass relative to the common echo, by least squares, within limits; shape (pass,)."""
    known = np.isfinite(aligned)
    top = np.sum(np.where(known, (np.conj(common) * aligned).real, 0), axis=(1, 2))
    bottom = np.sum(np.where(known, np.abs(common) ** 2, 0), axis=(1, 2))
    scale = np.divide(top, bottom, out=np.ones(len(top)), where=bottom > 0)
    return np.clip(scale, *AMPLITUDE_LIMITS)
