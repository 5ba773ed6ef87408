"""Diffraction summation: radargrams into images of what scattered them.

For one line the sum runs over the traces near each image point, each taken at the time of the exact two-leg path. All lines that
share their trace positions share one operator, a sparse matrix, so that a whole direction of an area is one matrix product.
"""

from dataclasses import dataclass
from typing import Tuple

import numpy as np
from scipy.sparse import csr_matrix

from ..geometry.two_leg import NOMINAL_RADIUS_M, two_leg_path

APERTURE_M = 0.24
# A dipole on concrete sends little beyond this slope; farther traces bring noise and the limbs of other bars.
APERTURE_SLOPE, APERTURE_MARGIN_M = 1.3, 0.03


@dataclass(frozen=True)
class ImageGrid:
    """Where the image of a line is computed: distances along the line and depths, metres."""

    distance_m: np.ndarray
    depth_m: np.ndarray

    @property
    def shape(self) -> Tuple[int, int]:
        return len(self.distance_m), len(self.depth_m)


def migration_operator(
    trace_m,
    time_ns,
    grid: ImageGrid,
    speed_m_ns: float,
    separation_m: float,
    dipole_axis: str,
    crossing_rad: float = 0.0,
    centre_frequency_ghz: float = 0.0,
) -> csr_matrix:
    """Matrix from stacked traces to the image of one line.

    Parameters
    ----------
    trace_m : ndarray, shape (trace,)
        Distances of the traces along the line.
    time_ns : ndarray, shape (sample,)
        Time after time zero of the samples, evenly spaced.
    centre_frequency_ghz : float
        Where given, traces so far from the image point that neighbouring ones differ by more than half a period are left
        out (anti-alias guard).

    Returns
    -------
    csr_matrix, float32, shape (image points, trace * sample)
        Rows in the order (distance, depth), columns in the order (trace, sample). Weights: obliquity z/r times sqrt(t), which
        undoes cylindrical spreading (Schneider 1978, Geophysics 43, 49-76, 2-D form), trapezoidal over uneven traces.
    """
    trace_m = np.asarray(trace_m, float)
    interval = time_ns[1] - time_ns[0]
    spacing = np.gradient(trace_m) if len(trace_m) > 1 else np.ones(1)
    offset = trace_m[None, :] - grid.distance_m[:, None]
    depth = grid.depth_m
    reach = np.minimum(APERTURE_M, APERTURE_SLOPE * depth + APERTURE_MARGIN_M)
    # In this order the entries come sorted by row and column, as the matrix wants them.
    points, levels, traces = np.nonzero(np.abs(offset)[:, None, :] <= reach[:, None])
    x, z = offset[points, traces], depth[levels]
    path = two_leg_path(x, z, separation_m, dipole_axis, crossing_rad, NOMINAL_RADIUS_M)
    time = path / speed_m_ns
    weight = z / np.sqrt((x * np.cos(crossing_rad)) ** 2 + z**2) * np.sqrt(time) * np.abs(spacing[traces])
    if centre_frequency_ghz > 0:
        weight = weight * unaliased(x, z, np.abs(spacing[traces]), speed_m_ns, crossing_rad, centre_frequency_ghz)
    position = (time - time_ns[0]) / interval
    sample = np.floor(position).astype(np.int64)
    fraction = position - sample
    inside = (sample >= 0) & (sample < len(time_ns) - 1) & (weight > 0)
    row = (points * len(depth) + levels)[inside]
    column = (traces * len(time_ns) + sample)[inside]
    weight, fraction = weight[inside], fraction[inside]
    rows = len(grid.distance_m) * len(depth)
    values = np.column_stack([weight * (1 - fraction), weight * fraction]).astype(np.float32).ravel()
    columns = np.column_stack([column, column + 1]).astype(np.int32).ravel()
    starts = 2 * np.searchsorted(row, np.arange(rows + 1))
    return csr_matrix((values, columns, starts), shape=(rows, len(trace_m) * len(time_ns)))


def unaliased(x_m, z_m, spacing_m, speed_m_ns: float, crossing_rad: float, centre_frequency_ghz: float):
    """Whether neighbouring traces at these offsets differ in travel time by at most half a period (anti-alias guard)."""
    step = spacing_m * np.abs(x_m) * np.cos(crossing_rad) ** 2 / np.sqrt(x_m**2 + z_m**2)
    return 2 * step / speed_m_ns * centre_frequency_ghz <= 0.5
