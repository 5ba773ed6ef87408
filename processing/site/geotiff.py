"""GeoTIFFs on the site grid: the one place that knows how rasters are stored.

Bands are stored one after the other, so that drawing one depth slice reads one depth slice. rasterio is imported only here.
"""

import errno
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Sequence, Tuple

import numpy as np

from ..common.disk import has_no_room
from ..common.errors import ProcessingError, disk_is_full
from ..common.language import tr
from ..common.packages import import_rasterio
from .grid import SiteGrid

BLOCK = 128  # about one scan area: larger blocks would be mostly empty
# A plain number far outside any value: unlike NaN, every program that styles or queries the raster treats it as nodata.
NODATA = -9999.0
CACHE_BYTES = 64 * 2**20
# Values are rounded to this step (a power of two, so that trailing bits are zero): far finer than they are known, and the
# files get smaller.
STEPS = {"dB": 2.0**-4, "m": 2.0**-14, "area": 1.0}


@dataclass(frozen=True)
class Band:
    """What one band holds: `description` (shown by QGIS), `unit` (``dB``, ``m``, or ``area`` for numbers of areas), and further
    `tags`, by name.
    """

    description: str
    unit: str
    tags: Tuple[Tuple[str, str], ...] = ()


def depth_bands(depth_m: Sequence[float]) -> Tuple[Band, ...]:
    """Bands of depth slices whose evenly spaced middles are `depth_m`; described as ``0.040-0.050 m``."""
    depth_m = np.asarray(depth_m, float)
    half = (depth_m[1] - depth_m[0]) / 2 if len(depth_m) > 1 else 0.0
    ranges = [(max(depth - half, 0.0), depth + half) for depth in depth_m]
    return tuple(
        Band(f"{top:.3f}-{base:.3f} m", "dB", (("depth_max_m", f"{base:.4f}"), ("depth_min_m", f"{top:.4f}")))
        for top, base in ranges
    )


@contextmanager
def small_cache():
    """GDAL keeps at most 64 MB of blocks within the context: by default its share of the memory grows with the floor.

    The limit is that of the whole process and is put back. Without GDAL's Python module the default stays.
    """
    try:
        from osgeo import gdal
    except ImportError:
        yield
        return
    earlier = gdal.GetCacheMax()
    gdal.SetCacheMax(min(CACHE_BYTES, earlier))
    try:
        yield
    finally:
        gdal.SetCacheMax(earlier)


class GridWriter:
    """Writes a GeoTIFF block by block under a temporary name; it appears under its own name when all is done.

    Use as a context manager; after an error nothing is left behind.
    """

    def __init__(self, path, grid: SiteGrid, bands: Sequence[Band], crs_wkt: str):
        self.path = Path(path)
        self.grid, self.bands, self.crs_wkt = grid, tuple(bands), crs_wkt
        self._part = self.path.with_name(f".{self.path.name}.part.tif")

    def __enter__(self) -> "GridWriter":
        with failures_said(self.path):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._file = self._open()
        return self

    def _open(self):
        rasterio = import_rasterio()
        x, y = self.grid.origin_m
        file = rasterio.open(
            self._part,
            "w",
            driver="GTiff",
            width=self.grid.columns,
            height=self.grid.rows,
            count=len(self.bands),
            dtype="float32",
            nodata=NODATA,
            crs=rasterio.crs.CRS.from_wkt(self.crs_wkt),
            transform=rasterio.transform.from_origin(x, y, self.grid.cell_m, self.grid.cell_m),
            tiled=True,
            blockxsize=BLOCK,
            blockysize=BLOCK,
            interleave="band",
            compress="deflate",
            zlevel=1,
            predictor=3,
            bigtiff="IF_SAFER",
            photometric="MINISBLACK",
            sparse_ok=True,
        )
        for number, band in enumerate(self.bands, 1):
            file.set_band_description(number, band.description)
            file.set_band_unit(number, band.unit)
            file.update_tags(number, **dict(band.tags))
        return file

    def write(self, cube: np.ndarray, row: int = 0, column: int = 0) -> None:
        """Writes `cube`, shape (band, row, column), NaN for nodata, with its first cell at `row`, `column`."""
        step = np.array([STEPS[band.unit] for band in self.bands], np.float32)[:, None, None]
        rounded = np.round(cube / step) * step
        window = import_rasterio().windows.Window(column, row, cube.shape[2], cube.shape[1])
        with failures_said(self.path):
            self._file.write(np.where(np.isnan(rounded), np.float32(NODATA), rounded).astype(np.float32), window=window)

    def __exit__(self, kind, error, trace) -> None:
        try:
            if kind is not None:
                self._file.close()
                return
            with failures_said(self.path):
                factors = [f for f in (2, 4, 8, 16, 32) if max(self.grid.rows, self.grid.columns) // f >= BLOCK]
                self._file.close()
                add_overviews(self._part, factors)
                move_with_crs(self._part, self.path)
        finally:
            for part in (self._part, _beside(self._part)):
                part.unlink(missing_ok=True)


@contextmanager
def failures_said(path: Path):
    """Turns what GDAL says of a raster that it cannot write, about a hidden file, into a sentence about `path`."""
    try:
        yield
    except Exception as error:
        # Some of rasterio's errors have no public name.
        if not isinstance(error, OSError) and not type(error).__module__.startswith("rasterio"):
            raise
        # Where the system gives another reason, that one is told: a medium that is read-only has no free space either. GDAL's own
        # errors have numbers of GDAL's.
        number = error.errno if isinstance(error, OSError) else None
        if number in (errno.ENOSPC, errno.EDQUOT) or (number is None and has_no_room(path.parent)):
            raise disk_is_full(path) from error
        reason = getattr(error, "strerror", None) or tr("no raster can be created there")
        raise ProcessingError(
            tr("{path} cannot be written ({reason}); choose another place for it.", path=path, reason=reason)
        ) from error


def add_overviews(path: Path, factors: Sequence[int]) -> None:
    """Overviews by the mean for a raster that is closed; all of it is read (`read_through`), before and after.

    Raises `OSError` where there may be no room for them: GDAL can take the whole program down over one that does not fit.
    """
    read_through(path)
    if not factors:
        return
    if shutil.disk_usage(path.parent).free < path.stat().st_size:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    rasterio = import_rasterio()
    with rasterio.open(path, "r+") as file:
        file.build_overviews(factors, rasterio.enums.Resampling.average)
    for level in range(len(factors)):
        _read(path, OVERVIEW_LEVEL=level)


def read_through(path: Path) -> None:
    """Reads all of a raster and its overviews: GDAL closes one that did not fit on the disk without a word."""
    with import_rasterio().open(path) as file:
        levels = range(len(file.overviews(1)))
    for options in ({}, *({"OVERVIEW_LEVEL": level} for level in levels)):
        _read(path, **options)


def _read(path: Path, **options) -> None:
    with import_rasterio().open(path, **options) as file:
        for band in file.indexes:
            for _, window in file.block_windows(band):
                file.read(band, window=window)


def restamp(path, crs_wkt: str) -> None:
    """Gives the GeoTIFF at `path` another coordinate system; cells and coordinates stay as they are.

    Raises `ProcessingError` where the file cannot be read or replaced.
    """
    rasterio = import_rasterio()
    path = Path(path)
    part = path.with_name(f".{path.name}.part.tif")
    try:
        shutil.copyfile(path, part)
        with rasterio.open(part, "r+") as file:
            file.crs = rasterio.crs.CRS.from_wkt(crs_wkt)
        read_through(part)
        move_with_crs(part, path)
    except (OSError, rasterio.errors.RasterioError) as error:
        raise ProcessingError(
            tr("The coordinate system of {path} cannot be changed: {error}.", path=path, error=error)
        ) from error
    finally:
        for left in (part, _beside(part)):
            left.unlink(missing_ok=True)


def _beside(path: Path) -> Path:
    """Where GDAL keeps what a GeoTIFF itself cannot hold: the CRS of a tied site grid, and statistics."""
    return path.with_name(f"{path.name}.aux.xml")


def move_with_crs(part: Path, path: Path) -> None:
    """Moves a finished GeoTIFF into place, and what GDAL keeps beside it."""
    part.replace(path)
    if _beside(part).exists():
        _beside(part).replace(_beside(path))
    else:
        _beside(path).unlink(missing_ok=True)  # of an earlier file


class GridReader:
    """Reads a GeoTIFF that `GridWriter` wrote, window by window, without keeping the file open."""

    def __init__(self, path):
        self.path = Path(path)
        with import_rasterio().open(self.path) as file:
            cell = file.transform.a
            left, top = round(file.transform.c / cell), round(file.transform.f / cell)
            self.grid = SiteGrid(left, top, file.width, file.height, cell)
            self.bands = tuple(
                Band(file.descriptions[i] or "", file.units[i] or "", tuple(sorted(file.tags(i + 1).items())))
                for i in range(file.count)
            )

    def read(self, row: int, column: int, rows: int, columns: int, bands=None) -> np.ndarray:
        """A window, float32, NaN for nodata, shape (band, row, column); `bands` lists band numbers from 1, all by default."""
        rasterio = import_rasterio()
        numbers = list(range(1, len(self.bands) + 1)) if bands is None else bands
        try:
            with rasterio.open(self.path) as file:
                cube = file.read(numbers, window=rasterio.windows.Window(column, row, columns, rows))
        except rasterio.errors.RasterioIOError as error:
            raise ProcessingError(
                tr("{name} cannot be read; run the step that writes it again.", name=self.path.name)
            ) from error
        return np.where(cube == np.float32(NODATA), np.float32(np.nan), cube)
