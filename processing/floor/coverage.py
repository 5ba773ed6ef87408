"""What counts as scanned: the ground between neighbouring lines, never beyond the outermost ones."""

from dataclasses import dataclass, field
from itertools import combinations
from typing import Dict, List, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.packages import import_gdal
from ..geometry.polygons import polygons_in, union_in_turn
from ..geometry.shapes import polygon_of, rings_of
from ..site.frame import AreaFit
from ..survey.model import ScanArea
from .shadows import Shadow

# Lines further apart than this do not cover the ground between them (common practice is 0.05 to 0.10 m; no source).
WIDEST_SPACING_M = 0.25
# A line left out shows as a gap wider than the area's usual spacing.
USUAL_SPACINGS = 1.5
SAME_DIRECTION = np.cos(np.radians(5.0))
SMALLEST_M2 = 1e-4


@dataclass(frozen=True)
class Coverage:
    """One piece of scanned ground.

    Attributes
    ----------
    rings_m : list of (n, 2) ndarray
        Site coordinates of the outer ring and of holes, closed, metres.
    depth_m : float or None
        Depth to which it counts as scanned; None where that is not known, so that nothing there counts as seen.
    line_directions : int
        2 where lines cross, 1 where all lines run one way and an object along them can be missed.
    note : str
        Why the depth is less than elsewhere in the area; empty where it is not.
    """

    area_id: str
    rings_m: List[np.ndarray] = field(compare=False)
    depth_m: Optional[float]
    line_directions: int
    note: str = ""


def find_coverage(
    area: ScanArea, fit: AreaFit, reliable_depth_m: Optional[float], shadows: Sequence[Shadow] = ()
) -> List[Coverage]:
    """The scanned ground of a fitted area in the site grid.

    Lines of one direction cover the strips between neighbours, over the stretch both run. A gap wider than 1.5 times the
    direction's median spacing (a line left out) or than 0.25 m is not covered. A line on its own covers no ground. `shadows` (in
    the area's local grid, the shallowest first) count as scanned down to their own depth only.
    """
    families = [_strips(lines) for lines in _by_direction(area).values()]
    crossed = union_in_turn(one.Intersection(other) for one, other in combinations(families, 2))
    covered = union_in_turn(families)
    pieces: List[Tuple[object, int]] = [(covered, 1)]
    if not crossed.IsEmpty():
        pieces = [(crossed, 2), (covered.Difference(crossed), 1)]
    out = []
    for piece, directions in pieces:
        for shadow in shadows:
            if reliable_depth_m is None or shadow.depth_m >= reliable_depth_m:
                continue
            note = tr("below {depth:.0f} mm: {reason}", depth=1000 * shadow.depth_m, reason=shadow.reason)
            hidden, piece = piece.Intersection(shadow.geometry), piece.Difference(shadow.geometry)
            out += _in_site(area, fit, hidden, shadow.depth_m, directions, note)
        out += _in_site(area, fit, piece, reliable_depth_m, directions, "")
    return out


def _in_site(area: ScanArea, fit: AreaFit, geometry, depth_m, directions: int, note: str) -> List[Coverage]:
    return [
        Coverage(area.area_id, [fit.to_site(ring) for ring in rings], depth_m, directions, note)
        for rings in (rings_of(polygon) for polygon in polygons_in(geometry) if polygon.Area() >= SMALLEST_M2)
    ]


def outline(area: ScanArea) -> Optional[np.ndarray]:
    """Convex outline of all traces in the local grid, closed, metres, shape (n, 2); None where they lie on one line."""
    _, ogr, _ = import_gdal()
    points = ogr.Geometry(ogr.wkbMultiPoint)
    for x, y in np.vstack([line.trace_positions_m()[[0, -1]] for line in area.lines]):
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(float(x), float(y))
        points.AddGeometry(point)
    hull = points.ConvexHull()
    return rings_of(hull)[0] if hull.GetGeometryName() == "POLYGON" else None


def _by_direction(area: ScanArea) -> Dict[int, Sequence]:
    """Lines by direction of travel, forth and back being one."""
    directions: List[np.ndarray] = []
    families: Dict[int, List] = {}
    for line in area.lines:
        number = next((k for k, d in enumerate(directions) if abs(d @ line.direction) > SAME_DIRECTION), None)
        if number is None:
            number = len(directions)
            directions.append(line.direction)
        families.setdefault(number, []).append(line)
    return families


def _strips(lines: Sequence):
    """Union of the strips between neighbours of one family, as a geometry in the local grid."""
    along = lines[0].direction
    across = np.array([-along[1], along[0]])
    runs = set()  # offset across, start and end along; both dipole axes of one pass are one run
    for line in lines:
        ends = line.trace_positions_m()[[0, -1]]
        runs.add((round(float(np.mean(ends @ across)), 3), *np.round(sorted(ends @ along), 3)))
    pairs = []  # gap and corners, grouped by the run on the near side
    for offset, low, high in sorted(runs):
        beside = [
            (other - offset, max(low, start), min(high, end), offset, other)
            for other, start, end in runs
            if other > offset and min(high, end) > max(low, start)
        ]
        if beside:
            pairs.append(sorted(beside))
    if not pairs:
        return union_in_turn([])
    widest = min(USUAL_SPACINGS * np.median([beside[0][0] for beside in pairs]), WIDEST_SPACING_M) + 1e-6
    strips = []
    for gap, low, high, one, other in (pair for beside in pairs for pair in beside):
        if gap <= widest:
            corners = [
                length * along + offset * across
                for length, offset in ((low, one), (high, one), (high, other), (low, other))
            ]
            # Rounded so that strips that touch share their corners exactly.
            strips.append(polygon_of([[(round(float(x), 6), round(float(y), 6)) for x, y in corners]]))
    return union_in_turn(strips)
