"""Area grids onto the north-up site grid, and many areas into one raster per level.

All rasters of a job lie on one lattice (`SiteGrid`), so a mosaic only weighs and adds; it never resamples again.
"""

from pathlib import Path
from typing import List, Sequence, Tuple

import numpy as np

from ..monitor import Monitor
from .frame import AreaFit
from .geotiff import BLOCK, GridReader, GridWriter
from .grid import SiteGrid


def resample(fit: AreaFit, x_m, y_m, values, cell_m: float) -> Tuple[SiteGrid, np.ndarray]:
    """Values of one area's local grid at the cell centres of a north-up site grid, bilinear.

    Parameters
    ----------
    fit : AreaFit
        Of a fitted area.
    x_m, y_m : ndarray, shapes (column,) and (row,)
        Local cell centres, metres, evenly spaced and ascending.
    values : ndarray, shape (row, column, band)
        NaN where nothing is known.

    Returns
    -------
    SiteGrid and float32 ndarray, shape (band, row, column)
        Row 0 in the north. NaN outside the area's outermost cell centres and wherever one of the neighbours used is NaN:
        nothing is extrapolated.
    """
    corners = np.array([[x, y] for x in (x_m[0], x_m[-1]) for y in (y_m[0], y_m[-1])])
    grid = SiteGrid.around(fit.to_site(corners), cell_m)
    local = fit.to_local(grid.centres_m().reshape(-1, 2))
    column, column_part, column_in = _place(local[:, 0], x_m)
    row, row_part, row_in = _place(local[:, 1], y_m)
    inside = column_in & row_in
    row, column, row_part, column_part = (a[inside] for a in (row, column, row_part, column_part))
    found = np.zeros((len(row), values.shape[2]), np.float32)
    for row_step, row_weight in ((0, 1.0 - row_part), (1, row_part)):
        for column_step, column_weight in ((0, 1.0 - column_part), (1, column_part)):
            weight = (row_weight * column_weight).astype(np.float32)
            used = weight > 0  # a neighbour without weight may be NaN or beyond the edge
            found[used] += weight[used, None] * values[row[used] + row_step, column[used] + column_step]
    out = np.full((values.shape[2], grid.rows * grid.columns), np.nan, np.float32)
    out[:, inside] = found.T
    return grid, out.reshape(-1, grid.rows, grid.columns)


def resample_strength(fit: AreaFit, x_m, y_m, strength_db, cell_m: float) -> Tuple[SiteGrid, np.ndarray]:
    """As `resample`, for echo strengths in dB: the interpolation is done on amplitudes (10 to the dB/20)."""
    amplitude = np.power(np.float32(10.0), np.asarray(strength_db, np.float32) / np.float32(20.0))
    grid, cube = resample(fit, x_m, y_m, amplitude, cell_m)
    return grid, np.float32(20.0) * np.log10(cube)


def write_mosaic(sources: Sequence[Path], path: Path, crs_wkt: str, monitor: Monitor = Monitor()) -> SiteGrid:
    """Blends single-area rasters into one and returns its grid.

    Every source has the bands of the deepest one, or the first few of them. Where areas overlap, each counts by its distance
    to its own edge, so that no seam shows; values are averaged as they are stored. One block is in memory at a time, however
    many areas there are, and blocks without any area are not stored.
    """
    readers = [GridReader(source) for source in sources]
    deepest = max(readers, key=lambda reader: len(reader.bands))
    grid = SiteGrid.union(reader.grid for reader in readers)
    weights = [_edge_distance(reader) for reader in readers]
    blocks = [(row, column) for row in range(0, grid.rows, BLOCK) for column in range(0, grid.columns, BLOCK)]
    with GridWriter(path, grid, deepest.bands, crs_wkt) as writer:
        for number, (row, column) in enumerate(blocks):
            monitor.step(number / len(blocks))
            shape = (min(BLOCK, grid.rows - row), min(BLOCK, grid.columns - column))
            cube = _blend(readers, weights, grid, row, column, shape, len(deepest.bands))
            if cube is not None:
                writer.write(cube, row, column)
    return grid


def _place(coordinate, centres) -> Tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Index of the cell centre before each coordinate, fraction to the next one, and whether it lies within the centres."""
    step = (centres[-1] - centres[0]) / (len(centres) - 1) if len(centres) > 1 else 1.0
    position = (coordinate - centres[0]) / step
    inside = (position >= -1e-6) & (position <= len(centres) - 1 + 1e-6)
    position = np.clip(position, 0, len(centres) - 1)
    index = np.floor(position).astype(int)
    return index, position - index, inside


def _edge_distance(reader: GridReader) -> np.ndarray:
    """Distance of each cell to the edge of what the first band shows, in cells, 0 outside; shape (row, column)."""
    from scipy.ndimage import distance_transform_edt

    known = np.isfinite(reader.read(0, 0, reader.grid.rows, reader.grid.columns, bands=1)[0])
    return distance_transform_edt(np.pad(known, 1))[1:-1, 1:-1].astype(np.float32)


def _blend(readers: List[GridReader], weights, grid, row, column, shape, bands):
    total = weight_sum = None
    for reader, weight in zip(readers, weights):
        first_row, first_column = reader.grid.offset_in(grid)
        top, left = max(row, first_row), max(column, first_column)
        bottom = min(row + shape[0], first_row + reader.grid.rows)
        right = min(column + shape[1], first_column + reader.grid.columns)
        if top >= bottom or left >= right:
            continue
        if total is None:
            total, weight_sum = np.zeros((2, bands, *shape), np.float32)
        there = (slice(len(reader.bands)), slice(top - row, bottom - row), slice(left - column, right - column))
        here = (slice(top - first_row, bottom - first_row), slice(left - first_column, right - first_column))
        part = reader.read(top - first_row, left - first_column, bottom - top, right - left)
        share = np.where(np.isfinite(part), np.maximum(weight[here], 0.5), 0.0)
        total[there] += share * np.nan_to_num(part)
        weight_sum[there] += share
    if total is None:
        return None
    return np.divide(total, weight_sum, out=np.full_like(total, np.nan), where=weight_sum > 0)
