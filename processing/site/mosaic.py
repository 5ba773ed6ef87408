"""Area grids onto the north-up site grid, and many areas into one raster per level.

All rasters of a job lie on one lattice (`SiteGrid`), so a mosaic only weighs and adds; it never resamples again.
"""

from contextlib import ExitStack
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.monitor import Monitor
from .frame import AreaFit
from .geotiff import BLOCK, Band, GridReader, GridWriter, small_cache
from .grid import SiteGrid
from .levelling import level_offsets


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
    # By hand, because `scipy.ndimage.map_coordinates` lets a NaN through from a neighbour without weight, and eats so into edges.
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


@dataclass(frozen=True)
class Source:
    """One area's raster: its file, its name, and how much it counts where it overlaps another one of equal distance to the edge."""

    path: Path
    name: str
    quality: float = 1.0


@dataclass(frozen=True)
class Mosaic:
    """What a mosaic covers, and what was added to each source, dB (zeros where nothing was levelled)."""

    grid: SiteGrid
    offsets_db: Tuple[float, ...]


def write_mosaic(
    sources: Sequence[Source],
    path,
    crs_wkt: str,
    *,
    origin_path=None,
    level: bool = False,
    monitor: Monitor = Monitor(),
) -> Mosaic:
    """Blends single-area rasters into one.

    Every source has the bands of the deepest one, or the first few of them. Where areas overlap, each counts by its distance
    to its own edge times its quality, so that no seam shows; values are averaged as they are stored. With `level`, each area's
    values (dB) are first shifted so that overlaps agree (`levelling`). `origin_path` gets a raster of one band that says from
    which source (its number, from 1; names in the band's tags) the largest share of each cell came. One block is in memory at
    a time, however many areas there are, and blocks without any area are not stored.
    """
    readers = [GridReader(source.path) for source in sources]
    offsets = level_offsets(readers, lambda share: monitor.step(0.3 * share)) if level else np.zeros(len(readers))
    monitor = monitor.part(0.3 if level else 0.0, 1.0)
    deepest = max(readers, key=lambda reader: len(reader.bands))
    grid = SiteGrid.union(reader.grid for reader in readers)
    names = tuple((f"area_{number}", source.name) for number, source in enumerate(sources, 1))
    blend = _Blend(readers, [source.quality for source in sources], offsets, grid, len(deepest.bands))
    blocks = [(row, column) for row in range(0, grid.rows, BLOCK) for column in range(0, grid.columns, BLOCK)]
    with ExitStack() as stack:
        stack.enter_context(small_cache())
        writer = stack.enter_context(GridWriter(path, grid, deepest.bands, crs_wkt))
        origin = None
        if origin_path:
            bands = (Band(tr("area that a cell comes from"), "area", names),)
            origin = stack.enter_context(GridWriter(origin_path, grid, bands, crs_wkt))
        for number, (row, column) in enumerate(blocks):
            monitor.step(number / len(blocks))
            shape = (min(BLOCK, grid.rows - row), min(BLOCK, grid.columns - column))
            found = blend.block(row, column, shape)
            if found is not None:
                writer.write(found[0], row, column)
                if origin:
                    origin.write(found[1], row, column)
    return Mosaic(grid, tuple(float(offset) for offset in offsets))


def _place(coordinate, centres) -> Tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Index of the cell centre before each coordinate, fraction to the next one, and whether it lies within the centres."""
    step = (centres[-1] - centres[0]) / (len(centres) - 1) if len(centres) > 1 else 1.0
    position = (coordinate - centres[0]) / step
    inside = (position >= -1e-6) & (position <= len(centres) - 1 + 1e-6)
    position = np.clip(position, 0, len(centres) - 1)
    index = np.floor(position).astype(int)
    return index, position - index, inside


class _Blend:
    """Weighs the sources block by block; the edge distances of a few sources are kept, those of all would grow with the floor."""

    KEPT = 24

    def __init__(self, readers: Sequence[GridReader], qualities, offsets_db, grid: SiteGrid, bands: int):
        self.readers, self.qualities, self.offsets_db = readers, qualities, offsets_db
        self.grid, self.bands = grid, bands
        self.corners = np.array([reader.grid.offset_in(grid) for reader in readers])
        self.sizes = np.array([(reader.grid.rows, reader.grid.columns) for reader in readers])
        self._distance = lru_cache(self.KEPT)(self._edge_distance)

    def _edge_distance(self, number: int) -> np.ndarray:
        """Distance of each cell to the edge of what the first band shows, in cells, 0 outside; shape (row, column)."""
        from scipy.ndimage import distance_transform_edt

        reader = self.readers[number]
        known = np.isfinite(reader.read(0, 0, reader.grid.rows, reader.grid.columns, [1])[0])
        return distance_transform_edt(np.pad(known, 1))[1:-1, 1:-1].astype(np.float32)

    def block(self, row: int, column: int, shape):
        """Values, shape (band, row, column), and number of the main source, shape (1, row, column); None where none reaches."""
        low, high = np.array([row, column]), np.array([row + shape[0], column + shape[1]])
        reach = np.flatnonzero(np.all((self.corners < high) & (self.corners + self.sizes > low), axis=1))
        if not len(reach):
            return None
        total, weight_sum = np.zeros((2, self.bands, *shape), np.float32)
        largest, origin = np.zeros((2, *shape), np.float32)
        for number in reach:
            reader, corner = self.readers[number], self.corners[number]
            start, stop = np.maximum(low, corner), np.minimum(high, corner + self.sizes[number])
            there = tuple(slice(*pair) for pair in zip(start - low, stop - low))
            here = tuple(slice(*pair) for pair in zip(start - corner, stop - corner))
            part = reader.read(*(start - corner), *(stop - start)) + np.float32(self.offsets_db[number])
            weight = np.maximum(self._distance(number)[here], 0.5) * np.float32(self.qualities[number])
            share = np.where(np.isfinite(part), weight, np.float32(0.0))
            bands = slice(len(reader.bands))
            total[(bands, *there)] += share * np.nan_to_num(part)
            weight_sum[(bands, *there)] += share
            main = share[0] > largest[there]
            largest[there] = np.where(main, share[0], largest[there])
            origin[there] = np.where(main, number + 1, origin[there])
        values = np.divide(total, weight_sum, out=np.full_like(total, np.nan), where=weight_sum > 0)
        return values, np.where(largest > 0, origin, np.float32(np.nan))[None]
