"""Depth slices and slab base as files: one for each area, one for each level, and a list of them for the survey."""

from dataclasses import dataclass
from pathlib import Path
from typing import Dict, Iterable, List, Tuple

import numpy as np

from ..monitor import Monitor
from ..radar.model import DepthVolume, SlabBase
from ..site.frame import AreaFit
from ..site.geotiff import Band, GridWriter, depth_bands
from ..site.mosaic import resample, resample_strength, write_mosaic
from ..survey.model import ScanArea
from .placing import group_by_plane, plane_of

BASE_BANDS = (Band("thickness (m)", "m"), Band("sigma of thickness (m)", "m"))


@dataclass(frozen=True)
class RasterFile:
    """One GeoTIFF of a result.

    `content` is ``slices`` (one band a depth step, dB over local noise) or ``base`` (thickness and its 1-sigma, metres);
    `area_id` is empty for a mosaic of a level and surface.
    """

    path: Path
    content: str
    level: str
    surface: str
    area_id: str = ""


def mosaic_names(areas: Iterable[ScanArea]) -> Dict[Tuple[str, str], str]:
    """File name (without ending) of the mosaic of each plane: the level, with the surface unless it is a slab top.

    Where an area is called like that, too (in any case: some file systems make no difference), 'level' is put before it.
    """
    areas = list(areas)
    taken = {area.area_id.casefold() for area in areas}
    names = {}
    for level, surface in group_by_plane(areas):
        name = level if surface == "top" else f"{level} {surface}"
        while name.casefold() in taken:
            name = f"level {name}"
        taken.add(name.casefold())
        names[level, surface] = name
    return names


class RasterStore:
    """Writes the rasters of one run into `folder` (slices/ and base/), area by area, then the mosaics.

    Nothing of an area stays in memory once it is added. Use `add_area` for each area, `finish` once.
    """

    def __init__(self, folder, crs_wkt: str, cell_m: float):
        self.folder, self.crs_wkt, self.cell_m = Path(folder), crs_wkt, cell_m
        self.files: List[RasterFile] = []
        self._bases: List[RasterFile] = []

    def add_area(self, area: ScanArea, fit: AreaFit, volume: DepthVolume, base: SlabBase) -> None:
        """Writes the slices of one fitted area, and its slab base (kept only for the mosaic) where it is seen."""
        plane = plane_of(area)
        grid, cube = resample_strength(fit, volume.x_m, volume.y_m, volume.strength_db, self.cell_m)
        path = self.folder / "slices" / f"{area.area_id}.tif"
        with GridWriter(path, grid, depth_bands(volume.depth_m), self.crs_wkt) as writer:
            writer.write(cube)
        self.files.append(RasterFile(path, "slices", *plane, area.area_id))
        if base.seen:
            values = np.stack([base.thickness_m, base.sigma_m], axis=-1)
            grid, cube = resample(fit, base.x_m, base.y_m, values, self.cell_m)
            path = self.folder / "base" / f".area {area.area_id}.tif"
            with GridWriter(path, grid, BASE_BANDS, self.crs_wkt) as writer:
                writer.write(cube)
            self._bases.append(RasterFile(path, "base", *plane, area.area_id))

    def finish(self, areas: Iterable[ScanArea], monitor: Monitor = Monitor()) -> Tuple[RasterFile, ...]:
        """Writes one mosaic of slices and one of slab base for each plane; returns all files, areas first."""
        names = mosaic_names(areas)
        for number, ((level, surface), name) in enumerate(names.items()):
            own = monitor.part(number / len(names), (number + 1) / len(names))
            for content, singles, part in (("slices", self.files, (0.0, 0.9)), ("base", self._bases, (0.9, 1.0))):
                sources = [f.path for f in singles if (f.level, f.surface) == (level, surface) and f.area_id]
                if sources:
                    path = self.folder / content / f"{name}.tif"
                    write_mosaic(sources, path, self.crs_wkt, own.part(*part))
                    self.files.append(RasterFile(path, content, level, surface))
        for file in self._bases:
            file.path.unlink()
        self._bases.clear()
        return tuple(self.files)
