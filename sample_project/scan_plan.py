"""Where the crew scanned: areas, their frames, their lines and their control points.

Frames. An area's local grid has x to the right and y up for the person who looks at the scanned surface. On a slab's top
and on a wall the plan (or elevation) is seen from the same side: site = R(rotation) (x, y) + shift. A soffit is seen from
below while the plan is seen from above, so its plan mirrors the local x: site = R(rotation) (-x, y) + shift. R turns
counter-clockwise. Depth always counts from the scanned surface.
"""

from dataclasses import dataclass
from typing import Tuple

import numpy as np

from . import building
from .cast_in import CastIn
from .materials import Concrete

TRACE_SPACING_M = 0.02
CONTROL_SIGMA_M = 0.003
# Objects this far outside an area still send echoes into it.
MARGIN_M = 0.65


@dataclass(frozen=True)
class Area:
    """One scan area as it truly lies.

    `sample_format` is that of its SEG-Y files; `with_positions` puts the nominal local coordinates into the trace headers.
    """

    area_id: str
    level: str
    surface: str
    shift_m: Tuple[float, float]
    rotation_deg: float
    size_m: Tuple[float, float]
    line_spacing_m: float
    concrete: Concrete = building.SLAB_CONCRETE
    thickness_m: float = building.SLAB_THICKNESS_M
    scanned_on: str = "2031-05-06"
    note: str = ""
    sample_format: str = "int16"
    with_positions: bool = False

    @property
    def mirrored(self) -> bool:
        return self.surface == "soffit"

    @property
    def _matrix(self) -> np.ndarray:
        turn = np.radians(self.rotation_deg)
        matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return matrix * [-1.0, 1.0] if self.mirrored else matrix

    def to_site(self, local_m) -> np.ndarray:
        """Site x, y of local points, shape (n, 2)."""
        return np.asarray(local_m) @ self._matrix.T + self.shift_m

    def to_local(self, site_m) -> np.ndarray:
        """Local x, y of site points, shape (n, 2)."""
        return (np.asarray(site_m) - self.shift_m) @ self._matrix

    def depth_from_surface(self, depth_m, diameter_m=0.0):
        """Depth to the top as the scan sees it, from the depth below the slab's top (or the wall's face)."""
        return self.thickness_m - depth_m - diameter_m if self.mirrored else depth_m

    def corners(self) -> np.ndarray:
        """Local corners, counter-clockwise from the origin, shape (4, 2)."""
        width, height = self.size_m
        return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])

    def contains(self, site_m, margin_m=0.0) -> np.ndarray:
        """Which site points lie in the area, grown by a margin: bool, shape (n,)."""
        local = self.to_local(site_m)
        return np.all((local > -margin_m) & (local < np.asarray(self.size_m) + margin_m), axis=1)

    def objects_in_scan(self, objects):
        """The objects that send echoes into this area, as `CastIn` in local x, y and depth from the scanned surface."""
        found = []
        for item in objects:
            if self.contains(dense_polyline(item.vertices_m, 0.05)[:, :2], MARGIN_M).any():
                depth = self.depth_from_surface(item.vertices_m[:, 2], item.diameter_m)
                found.append(item.moved(np.c_[self.to_local(item.vertices_m[:, :2]), depth]))
        return found


@dataclass(frozen=True)
class Line:
    """One pass of the antenna, nominal local ends."""

    line_id: str
    start_m: Tuple[float, float]
    end_m: Tuple[float, float]

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.subtract(self.end_m, self.start_m)))

    @property
    def travel(self) -> np.ndarray:
        return np.subtract(self.end_m, self.start_m) / self.length_m

    @property
    def distances_m(self) -> np.ndarray:
        """Nominal distance of each trace from the start."""
        return np.linspace(0.0, self.length_m, round(self.length_m / TRACE_SPACING_M) + 1)


FLOOR, SOFFIT, WALL = "L2", "L2 soffit", "L2 wall C"
AREAS = (
    Area("S01", FLOOR, "top", (203.00, 102.20), 3.0, (1.0, 1.0), 0.05),
    Area("S02", FLOOR, "top", (203.82, 102.32), -2.0, (1.0, 0.8), 0.10, sample_format="float32"),
    Area("S03", FLOOR, "top", (203.16, 103.00), 6.5, (0.8, 0.8), 0.05, note="carpet tiles lifted"),
    Area("S04", FLOOR, "top", (211.15, 103.60), 12.0, (1.2, 0.8), 0.10, scanned_on="2031-05-07"),
    Area("S05", FLOOR, "top", (211.05, 104.23), 8.0, (1.0, 1.0), 0.10, scanned_on="2031-05-07", with_positions=True),
    Area("S06", FLOOR, "top", (220.10, 103.10), 94.0, (0.6, 0.6), 0.05, scanned_on="2031-05-07", sample_format="ibm"),
    Area("S07", FLOOR, "top", (211.85, 109.95), -11.0, (0.8, 1.2), 0.10, building.DAMP_CONCRETE,
         scanned_on="2031-05-08", note="wet room, screed removed, concrete damp"),
    Area("S08", FLOOR, "top", (212.50, 109.95), -5.5, (1.0, 0.6), 0.10, building.DAMP_CONCRETE,
         scanned_on="2031-05-08", note="wet room, screed removed, concrete damp", sample_format="int32"),
    Area("U09", SOFFIT, "soffit", (205.40, 110.20), 5.0, (0.8, 0.8), 0.10, scanned_on="2031-05-09",
         note="from the scaffold; x runs to the right as seen from below"),
    Area("W10", WALL, "wall", (2.40, 1.00), 0.8, (1.0, 0.8), 0.10, building.WALL_CONCRETE, building.WALL_THICKNESS_M,
         scanned_on="2031-05-09", note="elevation: x from axis 2 to the right, y up from the floor"),
)  # fmt: skip


def lines_of(area: Area):
    """Lines along local x, then along local y, both at the line spacing, edges included."""
    width, height = area.size_m

    def places(extent):
        return np.linspace(0.0, extent, round(extent / area.line_spacing_m) + 1)

    along_x = [Line(f"x{n:02d}", (0.0, float(y)), (width, float(y))) for n, y in enumerate(places(height))]
    along_y = [Line(f"y{n:02d}", (float(x), 0.0), (float(x), height)) for n, x in enumerate(places(width))]
    return along_x + along_y


def control_points(area: Area, random):
    """Rows (point_id, local, site) for the corners; two areas had one corner out of sight of the total station."""
    corners = area.corners()[:3] if area.area_id in ("S06", "S08") else area.corners()
    site = area.to_site(corners) + random.normal(0.0, CONTROL_SIGMA_M, corners.shape)
    return [(f"{area.area_id}-{n}", local, place) for n, (local, place) in enumerate(zip(corners, site), start=1)]


def near_any(item: CastIn, areas) -> bool:
    """Does the object run through or close by one of the areas?"""
    points = dense_polyline(item.vertices_m, 0.05)[:, :2]
    return any(area.contains(points, MARGIN_M).any() for area in areas)


def dense_polyline(vertices_m, step_m):
    """Points at most a step apart in plan along a polyline, shape (n, 3)."""
    steps = np.linalg.norm(np.diff(vertices_m[:, :2], axis=0), axis=1)
    place = np.r_[0.0, np.cumsum(steps)]
    wanted = np.linspace(0.0, place[-1], int(place[-1] / step_m) + 2)
    return np.stack([np.interp(wanted, place, column) for column in vertices_m.T], axis=1)
