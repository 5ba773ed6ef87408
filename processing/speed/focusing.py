"""Wave speed by focusing: an independent check on the wave speed from waveforms.

Deep objects that cross a direction of lines squarely are looked for in the stack of its migrated images. Around each of them the
echo is lined up along the two-leg path for a row of trial speeds at a fixed apex time; the speed at which the traces agree best
(semblance: Taner and Koehler 1969, Geophysics 34, 859-881) is where its hyperbola focuses. Shallow objects are left out: in the
near field the hyperbola is 10 % too flat with dipoles across the travel and 6 % too steep along it (full-wave simulations).
"""

from dataclasses import replace
from typing import List, Optional, Tuple

import numpy as np

from ..common.language import tr
from ..common.monitor import Monitor
from ..geometry.two_leg import NOMINAL_RADIUS_M, depth_of_path, two_leg_path
from ..radar.focus import sample_traces
from ..radar.line_groups import GroupImages, group_lines
from ..radar.migration import APERTURE_M, ImageGrid
from ..radar.model import WaveSpeed
from ..radar.preprocessing import PreparedArea
from ..survey.model import DIPOLE_AXES

SHALLOWEST_WAVELENGTHS, DEEPEST_M, ABOVE_BASE_WAVELENGTHS = 1.5, 0.35, 0.5
RATIOS = np.linspace(0.85, 1.15, 13)
SLOPES = np.arange(-0.12, 0.121, 0.02)
# Of the stack over the usual one at its depth; of the traces' agreement at the best speed.
LEAST_STRENGTH, LEAST_SEMBLANCE = 2.5, 0.15
FEWEST_PASSES, FEWEST_OBJECTS, MOST_OBJECTS = 4, 2, 24
APART_M = 0.08
# Beyond the scatter between objects: 3 % on simulated slabs, and the objects' radius, which is not known: an error of it by dR
# changes the speed by dR/2z (hyperbola over a cylinder).
FLOOR, RADIUS_SIGMA_M = 0.03, 0.010
DISAGREEMENT_SIGMAS = 2.5


def check_focus(
    prepared: PreparedArea, speed: WaveSpeed, base_m: Optional[float] = None, monitor: Monitor = Monitor()
) -> WaveSpeed:
    """The wave speed with what focusing says beside it, and a warning where the two disagree beyond their sigmas.

    `base_m`: depth of the slab base, where it is seen; nothing near it counts as an object.
    """
    found = focus_speed(prepared, speed, base_m, monitor)
    if found is None:
        return speed
    value, sigma = found
    speed = replace(speed, focus_speed_m_ns=value, focus_sigma_m_ns=sigma)
    apart = abs(value - speed.speed_m_ns) / np.hypot(sigma, speed.sigma_m_ns)
    if apart <= DISAGREEMENT_SIGMAS:
        return speed
    sentence = tr(
        "deep echoes focus at {value:.4f} m/ns, {apart:.1f} sigmas from the wave speed {speed_m_ns:.4f} m/ns that is "
        "used; the concrete may change with depth: enter a known depth.",
        value=value,
        apart=apart,
        speed_m_ns=speed.speed_m_ns,
    )
    return replace(speed, warnings=(*speed.warnings, sentence))


def focus_speed(
    prepared: PreparedArea, speed: WaveSpeed, base_m: Optional[float] = None, monitor: Monitor = Monitor()
) -> Optional[Tuple[float, float]]:
    """Speed at which the deep objects focus best, and its 1-sigma, m/ns; None where fewer than two show."""
    curves: List[np.ndarray] = []
    depths: List[float] = []
    groups = [group for group in group_lines(prepared) if len(group.passes) >= FEWEST_PASSES]
    wavelength = speed.speed_m_ns / prepared.area.centre_frequency_ghz
    deepest = min(DEEPEST_M, base_m - ABOVE_BASE_WAVELENGTHS * wavelength if base_m else np.inf)
    for number, group in enumerate(groups):
        monitor.step(number / len(groups))
        low, high = group.extent_m
        levels = np.arange(SHALLOWEST_WAVELENGTHS * wavelength, deepest, wavelength / 24)
        grid = ImageGrid(np.arange(low + 0.10, high - 0.0999, 0.01), levels)
        if min(grid.shape) < 3:
            continue
        images = GroupImages(prepared, group, speed, grid)
        for u_m, depth_m in _objects(images):
            curve = _focusing(images, u_m, depth_m)
            # One that is best at the end of the row does not focus at all.
            if curve.max() >= LEAST_SEMBLANCE and 0 < np.argmax(curve) < len(RATIOS) - 1:
                curves.append(curve)
                depths.append(depth_m)
    if len(curves) < FEWEST_OBJECTS:
        return None
    stack = np.array(curves)
    random = np.random.default_rng(1)
    trials = [_vertex(stack[random.integers(len(stack), size=len(stack))].mean(axis=0)) for _ in range(100)]
    relative = np.sqrt(np.var(trials) + FLOOR**2 + (0.5 * RADIUS_SIGMA_M / np.mean(depths)) ** 2)
    best = _vertex(stack.mean(axis=0))
    return float(best * speed.speed_m_ns), float(relative * speed.speed_m_ns)


def _objects(images: GroupImages) -> List[Tuple[np.ndarray, float]]:
    """Level objects that cross the lines nearly squarely, the strongest first: distance along each pass, and depth."""
    offsets = images.group.offsets_m - images.group.offsets_m.mean()
    distance, depth = images.grid.distance_m, images.grid.depth_m
    stacks = np.array([_stack(images, slope * offsets) for slope in SLOPES])
    strength = stacks.max(axis=0)
    slopes = SLOPES[np.argmax(stacks, axis=0)]
    strength = strength / np.median(strength, axis=0)
    out: List[Tuple[np.ndarray, float]] = []
    taken: List[Tuple[float, float]] = []
    for flat in np.argsort(strength, axis=None)[::-1]:
        row, column = np.unravel_index(flat, strength.shape)
        if strength[row, column] < LEAST_STRENGTH or len(out) == MOST_OBJECTS:
            break
        if all(np.hypot(distance[row] - u, depth[column] - z) > APART_M for u, z in taken):
            taken.append((distance[row], depth[column]))
            out.append((distance[row] + slopes[row, column] * offsets, float(depth[column])))
    return out


def _stack(images: GroupImages, shift_m: np.ndarray) -> np.ndarray:
    """Magnitude of the mean image of all passes, each shifted, both dipole axes together; shape of the grid."""
    distance = images.grid.distance_m
    power = np.zeros(images.grid.shape)
    for axis in DIPOLE_AXES:
        passes = np.flatnonzero(images.has[axis])
        if len(passes) < FEWEST_PASSES:
            continue
        total = np.zeros(images.grid.shape, complex)
        for number in passes:
            place = (distance + shift_m[number] - distance[0]) / (distance[1] - distance[0])
            low = np.clip(np.floor(place).astype(int), 0, len(distance) - 2)
            part = np.clip(place - low, 0, 1)[:, None]
            image = images.image(axis)[number]
            total += image[low] * (1 - part) + image[low + 1] * part
        power += np.abs(total / len(passes)) ** 2
    return np.sqrt(power)


def _focusing(images: GroupImages, u_m: np.ndarray, depth_m: float) -> np.ndarray:
    """Semblance along the paths of one object for each of `RATIOS`, mean of the dipole axes."""
    period = 1.0 / images.area.centre_frequency_ghz
    window = np.linspace(-0.25, 0.25, 7) * period
    separation, speed = images.area.antenna_separation_m, images.speed.speed_m_ns
    curves = []
    for axis in DIPOLE_AXES:
        present = images.has[axis]
        if present.sum() < FEWEST_PASSES:
            continue
        traces, distances = images.traces[axis][present], images.distances_m(axis)[present]
        reach = min(APERTURE_M, depth_m)
        offset = distances - u_m[present, None]
        offset = np.where(np.abs(offset) <= reach, offset, np.nan)
        apex_ns = two_leg_path(0.0, depth_m, separation, axis, 0.0, NOMINAL_RADIUS_M) / speed
        own = []
        for ratio in RATIOS:
            trial = ratio * speed
            # The depth that keeps the echo's apex where it is.
            depth = depth_of_path(apex_ns * trial, separation, axis, NOMINAL_RADIUS_M)
            instants = two_leg_path(offset, depth, separation, axis, 0.0, NOMINAL_RADIUS_M) / trial
            values = sample_traces(traces, images.time_ns, np.nan_to_num(instants, nan=-1e3)[:, :, None] + window)
            known = np.isfinite(offset)
            together = np.sum(np.abs(values.sum(axis=1)) ** 2)
            own.append(together / max(float(known.sum(axis=1).mean() * (np.abs(values) ** 2).sum()), 1e-30))
        curves.append(own)
    return np.mean(curves, axis=0)


def _vertex(curve: np.ndarray) -> float:
    """Ratio at the top of a parabola through the curve near its largest value."""
    top = int(np.clip(np.argmax(curve), 2, len(curve) - 3))
    near = slice(top - 2, top + 3)
    bend, slope, _ = np.polyfit(RATIOS[near], curve[near], 2)
    return float(np.clip(-slope / (2 * bend), RATIOS[0], RATIOS[-1])) if bend < 0 else float(RATIOS[np.argmax(curve)])
