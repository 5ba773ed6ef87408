"""Depth slices and slab base as files: one for each area, one for each level, and a list of them for the survey."""

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.surfaces import TOP
from ..floor.placing import group_by_plane, plane_of
from ..floor.result import BASE, ORIGIN, SLICES, RasterFile
from ..radar.model import DepthVolume, SlabBase
from ..site.frame import AreaFit
from ..site.geotiff import Band, GridWriter, depth_bands
from ..site.mosaic import Source, resample, resample_strength, write_mosaic
from ..survey.model import ScanArea

UNSURE_PLACE_M = 0.010
BASE_BANDS = (Band(tr("thickness (m)"), "m"), Band(tr("sigma of thickness (m)"), "m"))


def mosaic_names(areas: Iterable[ScanArea]) -> Dict[Tuple[str, str], str]:
    """File name (without ending) of the mosaic of each plane: the level, with the surface unless it is a slab top.

    Where an area is called like that, too (in any case: some file systems make no difference), 'level' is put before it.
    """
    areas = list(areas)
    taken = {area.area_id.casefold() for area in areas}
    names = {}
    for level, surface in group_by_plane(areas):
        name = level if surface == TOP else f"{level} {surface}"
        while name.casefold() in taken:
            name = f"level {name}"
        taken.add(name.casefold())
        names[level, surface] = name
    return names


def quality_of(area: ScanArea, fit: AreaFit) -> float:
    """How much an area counts beside another one: metres of line on its ground, less where its place is known badly.

    Common practice (no source): twice the lines see twice as much; a place known to 10 mm counts half.
    """
    if not fit.is_fitted:
        return 0.0
    ends = np.vstack([line.trace_positions_m()[[0, -1]] for line in area.lines])
    ground = max(float(np.prod(np.ptp(ends, axis=0))), 0.01)
    lines = sum(line.length_m for line in area.lines) / ground
    return lines / (1.0 + (fit.sigma_xy_m / UNSURE_PLACE_M) ** 2)


class RasterStore:
    """Writes the rasters of one run into `folder` (slices/, origin/ and base/): each area, then the mosaics.

    Nothing of an area stays in memory: `keep` puts its depth volume aside on disk, in the local grid, until `finish` knows where
    the areas lie. Use `keep` for each area, `finish` once.
    """

    def __init__(self, folder, crs_wkt: str, cell_m: float):
        self.folder, self.crs_wkt, self.cell_m = Path(folder), crs_wkt, cell_m
        self.files: List[RasterFile] = []
        self._bases: List[RasterFile] = []
        self._kept: List[Tuple[ScanArea, Path]] = []

    def keep(self, area: ScanArea, volume: DepthVolume, base: SlabBase) -> None:
        """Puts the slices of one area, and its slab base where it is seen, aside."""
        path = self.folder / "unplaced" / f"{area.area_id}.npz"
        path.parent.mkdir(parents=True, exist_ok=True)
        arrays = {"x_m": volume.x_m, "y_m": volume.y_m, "depth_m": volume.depth_m, "strength_db": volume.strength_db}
        if base.seen:
            values = np.stack([base.thickness_m, base.sigma_m], axis=-1)
            arrays.update(base_x_m=base.x_m, base_y_m=base.y_m, base=values)
        np.savez(path, **arrays)
        self._kept.append((area, path))

    def _place(self, area: ScanArea, fit: AreaFit, path: Path) -> None:
        """Writes the slices of one fitted area, and its slab base (kept only for the mosaic) where it is seen."""
        plane = plane_of(area)
        with np.load(path) as kept:
            grid, cube = resample_strength(fit, kept["x_m"], kept["y_m"], kept["strength_db"], self.cell_m)
            bands = depth_bands(kept["depth_m"])
            base = [kept[name] for name in ("base_x_m", "base_y_m", "base")] if "base" in kept else None
        path = self.folder / SLICES / f"{area.area_id}.tif"
        with GridWriter(path, grid, bands, self.crs_wkt) as writer:
            writer.write(cube)
        self.files.append(RasterFile(path, SLICES, *plane, area.area_id))
        if base is not None:
            grid, cube = resample(fit, *base, self.cell_m)
            path = self.folder / BASE / f".area {area.area_id}.tif"
            with GridWriter(path, grid, BASE_BANDS, self.crs_wkt) as writer:
                writer.write(cube)
            self._bases.append(RasterFile(path, BASE, *plane, area.area_id))

    def finish(
        self, areas: Iterable[ScanArea], fits: Mapping[str, AreaFit], monitor: Monitor = Monitor()
    ) -> Tuple[RasterFile, ...]:
        """Writes the fitted areas, then a mosaic of slices and one of slab base for each plane; returns all files, areas first."""
        areas = list(areas)
        for number, (area, path) in enumerate(self._kept):
            monitor.step(0.4 * number / len(self._kept))
            if fits[area.area_id].is_fitted:
                self._place(area, fits[area.area_id], path)
            path.unlink()
        self._kept.clear()
        names = mosaic_names(areas)
        qualities = {area.area_id: quality_of(area, fits[area.area_id]) for area in areas}
        monitor = monitor.part(0.4, 1.0)
        for number, (plane, name) in enumerate(names.items()):
            own = monitor.part(number / len(names), (number + 1) / len(names))
            for content, singles, part in ((SLICES, self.files, (0.0, 0.9)), (BASE, self._bases, (0.9, 1.0))):
                sources = [
                    Source(file.path, file.area_id, qualities[file.area_id])
                    for file in singles
                    if (file.level, file.surface) == plane and file.area_id
                ]
                if sources:
                    self._write_mosaic(content, plane, name, sources, own.part(*part))
        for file in self._bases:
            file.path.unlink()
        self._bases.clear()
        shutil.rmtree(self.folder / "unplaced", ignore_errors=True)
        return tuple(self.files)

    def _write_mosaic(self, content, plane, name, sources: Sequence[Source], monitor: Monitor) -> None:
        """One mosaic; that of slices is levelled and has a raster of origins beside it."""
        path, slices = self.folder / content / f"{name}.tif", content == SLICES
        origin = self.folder / ORIGIN / f"{name}.tif" if slices else None
        mosaic = write_mosaic(sources, path, self.crs_wkt, origin_path=origin, level=slices, monitor=monitor)
        self.files.append(RasterFile(path, content, *plane))
        if slices:
            self.files.append(RasterFile(origin, ORIGIN, *plane))
            added = {source.path: offset for source, offset in zip(sources, mosaic.offsets_db)}
            self.files = [
                replace(file, levelled_db=added[file.path]) if file.path in added else file for file in self.files
            ]
