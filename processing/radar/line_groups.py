"""Lines of one direction taken together: their common frame, traces without what all traces share, and migrated images."""

from dataclasses import dataclass, field
from typing import Dict, List, Sequence, Tuple

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import hilbert
from scipy.sparse import csr_matrix

from ..survey.model import DIPOLE_AXES
from .migration import ImageGrid, migration_operator
from .model import WaveSpeed
from .preprocessing import PreparedArea, PreparedLine, band_pass

# Lines whose bearings differ by less than this are one direction of a grid.
SAME_DIRECTION_RAD = np.radians(5.0)


@dataclass(frozen=True)
class Pass:
    """One pass of the cart: up to two prepared lines (one a dipole axis) on the same nominal track.

    `offset_m` is its coordinate across the group's direction; `start_m` the coordinate along it of distance 0.
    """

    line_id: str
    offset_m: float
    start_m: float
    lines: Dict[str, PreparedLine] = field(repr=False)


@dataclass(frozen=True)
class LineGroup:
    """Passes of one direction in their own frame: u along the travel, w across it (to its left), metres."""

    direction: np.ndarray
    passes: Tuple[Pass, ...]

    @property
    def normal(self) -> np.ndarray:
        return np.array([-self.direction[1], self.direction[0]])

    @property
    def offsets_m(self) -> np.ndarray:
        return np.array([one.offset_m for one in self.passes])

    @property
    def spacing_m(self) -> float:
        """Median distance between neighbouring passes; 0 for a single one."""
        return float(np.median(np.diff(self.offsets_m))) if len(self.passes) > 1 else 0.0

    @property
    def extent_m(self) -> Tuple[float, float]:
        """Smallest and largest u of any trace."""
        ends = [one.start_m + line.distances_m for one in self.passes for line in one.lines.values()]
        return float(min(u.min() for u in ends)), float(max(u.max() for u in ends))

    def to_local(self, u, w) -> np.ndarray:
        """Area coordinates x, y of group coordinates; shape (..., 2)."""
        return np.asarray(u)[..., None] * self.direction + np.asarray(w)[..., None] * self.normal

    def from_local(self, xy) -> Tuple[np.ndarray, np.ndarray]:
        xy = np.asarray(xy, float)
        return xy @ self.direction, xy @ self.normal


def group_lines(prepared: PreparedArea) -> List[LineGroup]:
    """Sort an area's lines by direction and, within it, by offset. A reversed line is turned round."""
    bins: List[Tuple[np.ndarray, List[PreparedLine]]] = []
    for line in prepared.lines:
        direction = line.line.direction
        for reference, members in bins:
            if abs(direction[0] * reference[1] - direction[1] * reference[0]) < np.sin(SAME_DIRECTION_RAD):
                members.append(line)
                break
        else:
            forward = direction if (direction[0], direction[1]) >= (-direction[0], -direction[1]) else -direction
            bins.append((forward, [line]))
    return [_group(direction, members) for direction, members in bins]


def _group(direction: np.ndarray, members: Sequence[PreparedLine]) -> LineGroup:
    normal = np.array([-direction[1], direction[0]])
    passes: Dict[Tuple[str, bool], Pass] = {}
    for prepared in members:
        positions = prepared.line.trace_positions_m()
        u = positions @ direction
        offset = float(np.mean(positions @ normal))
        backwards = u[-1] < u[0]
        if backwards:
            prepared = PreparedLine(
                prepared.line, u[::-1] - u[-1], prepared.traces[::-1], prepared.extremum_ns, prepared.amplitude
            )
        start = float(u.min())
        key = prepared.line.line_id, bool(backwards)
        if key not in passes:
            passes[key] = Pass(prepared.line.line_id, offset, start, {})
        passes[key].lines[prepared.line.dipole_axis] = PreparedLine(
            prepared.line, np.sort(u) - start, prepared.traces, prepared.extremum_ns, prepared.amplitude
        )
    return LineGroup(direction, tuple(sorted(passes.values(), key=lambda one: (one.offset_m, one.line_id))))


# Echoes that stay the same over this length of line come from flat layers or from bars running along it.
BACKGROUND_M = 0.6


def scattered_traces(line: PreparedLine, interval_ns: float, centre_frequency_ghz: float) -> np.ndarray:
    """Band-passed traces less their running mean over 0.6 m: direct wave and flat layers go, what changes along the line stays.

    A bar running along the line goes with them; the lines that cross it see it. Shape (trace, sample), float32.
    """
    filtered = band_pass(line.traces, interval_ns, centre_frequency_ghz)
    count = len(filtered)
    if count < 3:
        return filtered
    half = max(int(round(0.5 * BACKGROUND_M / np.median(np.abs(np.diff(line.distances_m))))), 1)
    sums = np.concatenate([np.zeros((1, filtered.shape[1])), np.cumsum(filtered, axis=0, dtype=float)])
    first = np.maximum(np.arange(count) - half, 0)
    last = np.minimum(np.arange(count) + half + 1, count)
    return (filtered - (sums[last] - sums[first]) / (last - first)[:, None]).astype(np.float32)


# Traces closer than this part of the wavelength differ by a quarter of a period on the steepest limb: together they say no more
# than their mean, which has less noise.
DENSE_WAVELENGTHS = 1 / 6


def thinned(traces: np.ndarray, distances_m: np.ndarray, closest_m: float) -> Tuple[np.ndarray, np.ndarray]:
    """Means of as many neighbouring traces as lie within `closest_m`, and their mean distances; all as they are where none do."""
    together = int(closest_m / np.median(np.diff(distances_m)) + 1e-6) if len(distances_m) > 1 else 1
    if together < 2:
        return traces, distances_m
    starts = np.arange(0, len(distances_m), together)
    counts = np.diff(np.append(starts, len(distances_m)))
    means = np.add.reduceat(traces, starts, axis=0) / counts[:, None]
    return means.astype(traces.dtype), np.add.reduceat(distances_m, starts) / counts


class GroupImages:
    """Migrated complex images of the passes of a group, computed when first asked for and kept.

    Attributes
    ----------
    traces : dict of dipole axis to complex64 ndarray, shape (pass, trace, sample)
        Analytic scattered traces, their phase turned back by that of the antenna's pulse, so that metal answers with a negative
        pulse whatever the antenna; passes without that axis are zero. Change them only through `replace_traces`.
    has : dict of dipole axis to bool ndarray, shape (pass,)
    """

    def __init__(self, prepared: PreparedArea, group: LineGroup, speed: WaveSpeed, grid: ImageGrid):
        self.group, self.grid, self.speed = group, grid, speed
        self.area = prepared.area
        lag = prepared.reference_ns - speed.time_zero_ns
        deepest = 2 * np.hypot(grid.depth_m[-1] + 0.02, 0.25) / speed.speed_m_ns
        kept = prepared.time_ns + lag <= deepest
        self.time_ns = (prepared.time_ns + lag)[kept]
        self.has, self.traces, self._distances = {}, {}, {}
        turn = np.exp(-1j * speed.pulse_phase_rad)
        self._images: Dict[tuple, np.ndarray] = {}
        self._operators: Dict[tuple, csr_matrix] = {}
        for axis in DIPOLE_AXES:
            lines = [one.lines.get(axis) for one in group.passes]
            self.has[axis] = np.array([line is not None for line in lines])
            scattered = {}
            for number, line in enumerate(lines):
                if line is not None:
                    whole = scattered_traces(line, prepared.interval_ns, self.area.centre_frequency_ghz)
                    scattered[number] = thinned(whole, line.distances_m, DENSE_WAVELENGTHS * wavelength_m(self))
            count = max((len(places) for _, places in scattered.values()), default=0)
            stack = np.zeros((len(lines), count, kept.sum()), np.complex64)
            distances = np.full((len(lines), count), np.nan)
            for number, (traces, places) in scattered.items():
                stack[number, : len(traces)] = turn * hilbert(traces, axis=-1)[:, kept]
                distances[number, : len(traces)] = group.passes[number].start_m + places
            self.traces[axis], self._distances[axis] = stack, distances

    def replace_traces(self, axis: str, traces: np.ndarray) -> None:
        """Set the traces of one dipole axis (after taking modelled echoes off) and forget the images made of them."""
        self.traces[axis] = traces
        self._images = {key: image for key, image in self._images.items() if key[0] != axis}

    def let_go(self) -> None:
        """Forget traces and images; the group and its frame stay."""
        self.traces, self._images, self._operators = {}, {}, {}

    def distances_m(self, axis: str) -> np.ndarray:
        """Coordinate u of the traces, shape (pass, trace); NaN where a pass has fewer."""
        return self._distances[axis]

    def image(self, axis: str, crossing_rad: float = 0.0, stride: int = 1, skipped: int = 0) -> np.ndarray:
        """Complex images for objects crossing at this angle, shape (pass, distance, depth), complex64.

        On every `stride`-th point of the grid both ways, without its first `skipped` depths.
        """
        key = axis, round(float(crossing_rad), 4), stride, skipped
        if key not in self._images:
            grid = ImageGrid(self.grid.distance_m[::stride], self.grid.depth_m[skipped::stride])
            self._images[key] = self._migrate(axis, crossing_rad, grid)
        return self._images[key]

    def _migrate(self, axis: str, crossing_rad: float, grid: ImageGrid) -> np.ndarray:
        traces, distances = self.traces[axis], self._distances[axis]
        out = np.zeros((len(traces), *grid.shape), np.complex64)
        done = ~self.has[axis]
        while not done.all():
            first = int(np.argmin(done))
            same = ~done & np.all((np.abs(distances - distances[first]) < 1e-4) | np.isnan(distances), axis=1)
            same &= np.isnan(distances).sum(axis=1) == np.isnan(distances[first]).sum()
            count = int(np.isfinite(distances[first]).sum())
            operator = self._operator(axis, crossing_rad, distances[first, :count], grid)
            stack = traces[same, :count].reshape(same.sum(), -1)
            both = np.ascontiguousarray(np.concatenate([stack.real, stack.imag]).T)
            image = operator @ both
            pairs = image[:, : same.sum()] + 1j * image[:, same.sum() :]
            out[same] = pairs.T.reshape(same.sum(), *grid.shape)
            done |= same
        return out

    def _operator(self, axis: str, crossing_rad: float, distances_m: np.ndarray, grid: ImageGrid):
        key = axis, round(float(crossing_rad), 4), distances_m.round(4).tobytes(), grid.depth_m[0], grid.shape
        if key not in self._operators:
            self._operators[key] = migration_operator(
                distances_m,
                self.time_ns,
                grid,
                self.speed.speed_m_ns,
                self.area.antenna_separation_m,
                axis,
                crossing_rad,
                self.area.centre_frequency_ghz,
            )
        return self._operators[key]


def wavelength_m(images: GroupImages) -> float:
    return images.speed.speed_m_ns / images.area.centre_frequency_ghz


def noise_profiles(images: GroupImages) -> Dict[str, np.ndarray]:
    """For each dipole axis the median magnitude of the images by depth, smoothed over 0.15 wavelengths; shape (depth,)."""
    samples = 0.15 * wavelength_m(images) / (images.grid.depth_m[1] - images.grid.depth_m[0])
    out = {}
    for axis in DIPOLE_AXES:
        present = images.has[axis]
        profile = np.ones(len(images.grid.depth_m))
        if present.any():
            profile = np.median(np.abs(images.image(axis)[present]), axis=(0, 1))
        out[axis] = np.maximum(gaussian_filter1d(profile, samples, mode="nearest"), 1e-12)
    return out
