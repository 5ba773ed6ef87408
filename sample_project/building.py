"""The invented job: Fernhollow Textile Archive, the floor of level 2, and what is cast into it.

Site grid: metres, x along axes A to C towards the east, y along axes 1 to 4 towards the north. Axis 1 lies at x 200, axis A
at y 100. Depths count from the slab's top. The scanned wall stands on axis C between axes 2 and 3; its frame is an elevation
seen from the room: x from axis 2 to the right, y up from the floor, depth into the wall.
"""

from dataclasses import dataclass
from typing import Tuple

import numpy as np

from .cast_in import CastIn
from .materials import Concrete

JOB = "Fernhollow Textile Archive, level 2"
SEED = 20_417

AXES_X = {"1": 200.0, "2": 208.0, "3": 216.0, "4": 224.0}
AXES_Y = {"A": 100.0, "B": 107.5, "C": 115.0}
SLAB_EDGE_M = 0.3
COLUMN_M = 0.45
# Walls in plan as rectangles (x min, y min, x max, y max), with doors left out; the scanned one is the first.
WALLS = (
    (208.225, 114.9, 215.775, 115.1),
    (216.225, 114.9, 223.775, 115.1),
    (200.0, 107.4, 203.0, 107.6),
    (204.2, 107.4, 207.775, 107.6),
    (203.9, 110.9, 204.1, 115.0),
    (217.4, 107.725, 217.6, 110.6),
    (217.4, 111.7, 217.6, 114.9),
)
# The stair opening beside axis 4.
OPENINGS = ((219.0, 108.6, 222.8, 111.2),)

SLAB_THICKNESS_M = 0.26
WALL_THICKNESS_M = 0.20
SLAB_CONCRETE = Concrete(6.5)
DAMP_CONCRETE = Concrete(7.4, loss_factor=1.4)
WALL_CONCRETE = Concrete(6.1)


@dataclass(frozen=True)
class Mat:
    """Two layers of bars at right angles; `depth_m` is the top of the upper layer, whose bars run along x or y."""

    depth_m: float
    diameter_m: float
    spacing_x_m: float
    spacing_y_m: float
    upper_along: str = "x"


@dataclass(frozen=True)
class Panel:
    """One bay of the floor (or the wall), with its bars from edge to edge."""

    name: str
    west: float
    south: float
    east: float
    north: float
    mats: Tuple[Mat, ...]


PANELS = (
    Panel("P1", 200.2, 100.2, 207.8, 107.3, (Mat(0.032, 0.012, 0.15, 0.15), Mat(0.197, 0.012, 0.20, 0.20, "y"))),
    Panel("P2", 208.2, 100.2, 215.8, 107.3, (Mat(0.035, 0.012, 0.15, 0.20), Mat(0.097, 0.012, 0.20, 0.20))),
    Panel("P3", 216.2, 100.2, 223.8, 107.3, (Mat(0.030, 0.014, 0.20, 0.15, "y"), Mat(0.195, 0.012, 0.20, 0.20))),
    Panel("P4", 200.2, 107.7, 207.8, 114.8, (Mat(0.034, 0.012, 0.20, 0.20), Mat(0.197, 0.014, 0.15, 0.15, "y"))),
    Panel("P5", 208.2, 107.7, 215.8, 114.8, (Mat(0.036, 0.014, 0.20, 0.20, "y"), Mat(0.195, 0.012, 0.20, 0.20))),
)
WALL_PANEL = Panel("W", 0.2, 0.1, 7.8, 3.1, (Mat(0.030, 0.012, 0.20, 0.20, "y"), Mat(0.146, 0.012, 0.20, 0.20)))

# Bars are laid by hand: position and direction vary a little, a mat as a whole tilts, and its bars do not quite touch.
_PLACE_SD_M, _TURN_SD_RAD, _TILT_SD, _HEIGHT_SD_M, _GAP_M = 0.004, 0.0012, 0.001, 0.0008, 0.003


def slab_objects():
    """Everything cast into the floor, as a list of `CastIn` in the site grid."""
    bars = [bar for number, panel in enumerate(PANELS) for bar in panel_bars(panel, SEED + number)]
    return bars + _tendons() + _conduits()


def wall_objects():
    """Everything cast into the scanned wall, in its elevation frame."""
    conduits = [
        _straight("W-K1", "plastic_conduit", 0.025, (2.92, 0.9), 91.0, 0.098),
        _straight("W-K2", "metal_conduit", 0.021, (2.7, 1.52), 17.0, 0.070),
    ]
    return panel_bars(WALL_PANEL, SEED + 90) + conduits


def panel_bars(panel: Panel, seed: int):
    """The bars of a panel's mats."""
    random = np.random.default_rng(seed)
    bars = []
    middle = np.array([panel.west + panel.east, panel.south + panel.north]) / 2.0
    for number, mat in enumerate(panel.mats, start=1):
        tilt = random.normal(0.0, _TILT_SD, 2)
        for along, spacing in (("x", mat.spacing_x_m), ("y", mat.spacing_y_m)):
            depth = mat.depth_m if along == mat.upper_along else mat.depth_m + mat.diameter_m + _GAP_M
            if along == "x":
                start, end, low, high = panel.west, panel.east, panel.south, panel.north
            else:
                start, end, low, high = panel.south, panel.north, panel.west, panel.east
            first = low + spacing * random.uniform(0.3, 0.7)
            for count, place in enumerate(np.arange(first, high, spacing), start=1):
                half = (end - start) / 2.0
                turn = random.normal(0.0, _TURN_SD_RAD) * half
                place = place + random.normal(0.0, _PLACE_SD_M)
                ends = np.array([(start, place - turn), (end, place + turn)])
                if along == "y":
                    ends = ends[:, ::-1]
                height = depth + random.normal(0.0, _HEIGHT_SD_M) + (ends - middle) @ tilt
                name = f"{panel.name}-{number}{along.upper()}{count:02d}"
                bars.append(_cast(name, "bar", mat.diameter_m, np.c_[ends, height]))
    return bars


def _tendons():
    """Banded tendons along x and spread ones along y: high over the axes, low at mid-span."""
    tendons = []
    for number, y in enumerate((102.62, 102.77, 102.92), start=1):
        x = np.arange(200.0, 224.01, 0.1)
        depth = _drape(x - 200.0, 8.0, 0.070, 0.140)
        tendons.append(_cast(f"TX{number}", "tendon", 0.016, np.c_[x, np.full(len(x), y), depth]))
    for number, x in enumerate((211.62, 212.38, 219.87), start=1):
        y = np.arange(100.0, 115.01, 0.1)
        depth = _drape(y - 100.0, 7.5, 0.073, 0.170)
        tendons.append(_cast(f"TY{number}", "tendon", 0.016, np.c_[np.full(len(y), x), y, depth]))
    return tendons


def _drape(distance_m, span_m, high_m, low_m):
    return (high_m + low_m) / 2.0 - (low_m - high_m) / 2.0 * np.cos(2.0 * np.pi * distance_m / span_m)


def _conduits():
    return [
        _straight("K1", "metal_conduit", 0.021, (203.65, 102.70), 118.0, 0.074),
        _straight("K2", "plastic_conduit", 0.025, (204.42, 102.6), 97.0, 0.080),
        _arc("K3", "plastic_conduit", 0.025, (213.55, 104.50), 2.1, (120.0, 240.0), 0.068),
        _straight("K4", "metal_conduit", 0.027, (212.9, 110.4), 16.0, 0.072),
        _straight("K5", "plastic_conduit", 0.032, (219.75, 103.4), 38.0, 0.078),
        _straight("K6", "metal_conduit", 0.021, (204.9, 110.5), 62.0, 0.140),
    ]


def _straight(object_id, kind, diameter_m, through, bearing_deg, depth_m):
    """A straight run of 6 m through a point; the bearing counts counter-clockwise from x."""
    bearing = np.radians(bearing_deg)
    ends = np.asarray(through) + np.outer([-3.0, 3.0], [np.cos(bearing), np.sin(bearing)])
    return _cast(object_id, kind, diameter_m, np.c_[ends, [depth_m, depth_m]])


def _arc(object_id, kind, diameter_m, centre, radius_m, bearings_deg, depth_m):
    bearing = np.radians(np.linspace(*bearings_deg, 181))
    x = centre[0] + radius_m * np.cos(bearing)
    y = centre[1] + radius_m * np.sin(bearing)
    return _cast(object_id, kind, diameter_m, np.c_[x, y, np.full(len(x), depth_m)])


def _cast(object_id, kind, diameter_m, vertices):
    # Rounded as the truth file states it.
    return CastIn(object_id, kind, diameter_m, np.round(np.asarray(vertices, dtype=float), 5))
