"""North-up grids in the site grid whose cell edges lie on whole multiples of the cell, so that all rasters of a job match."""

from dataclasses import dataclass
from typing import Iterable, Tuple

import numpy as np


@dataclass(frozen=True)
class SiteGrid:
    """A north-up raster frame.

    `left` and `top` count cells from the site origin to the grid's western and northern edge; `cell_m` is the cell in metres.
    """

    left: int
    top: int
    columns: int
    rows: int
    cell_m: float

    @classmethod
    def around(cls, site_m, cell_m: float) -> "SiteGrid":
        """The smallest grid that holds all points, metres, shape (n, 2)."""
        # Coordinates that are meant to lie on a cell edge must not gain a row by rounding.
        low = np.floor(np.min(site_m, axis=0) / cell_m + 1e-6).astype(int)
        high = np.ceil(np.max(site_m, axis=0) / cell_m - 1e-6).astype(int)
        columns, rows = np.maximum(high - low, 1)
        return cls(int(low[0]), int(low[1] + rows), int(columns), int(rows), float(cell_m))

    @classmethod
    def union(cls, grids: Iterable["SiteGrid"]) -> "SiteGrid":
        """The smallest grid that holds all `grids`, which share one cell."""
        grids = list(grids)
        left, top = min(grid.left for grid in grids), max(grid.top for grid in grids)
        right = max(grid.left + grid.columns for grid in grids)
        bottom = min(grid.top - grid.rows for grid in grids)
        return cls(left, top, right - left, top - bottom, grids[0].cell_m)

    @property
    def origin_m(self) -> Tuple[float, float]:
        """Site x, y of the north-western corner, metres."""
        return self.left * self.cell_m, self.top * self.cell_m

    def centres_m(self) -> np.ndarray:
        """Site x, y of the cell centres, metres, shape (row, column, 2), row 0 in the north."""
        x = (self.left + np.arange(self.columns) + 0.5) * self.cell_m
        y = (self.top - np.arange(self.rows) - 0.5) * self.cell_m
        return np.stack(np.meshgrid(x, y), axis=-1)

    def offset_in(self, other: "SiteGrid") -> Tuple[int, int]:
        """Row and column of this grid's first cell in `other`, which has the same cell."""
        return other.top - self.top, self.left - other.left
