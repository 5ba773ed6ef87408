"""What radar imaging finds: wave speed, depth volume, slab base, ground that is seen less deep."""

from dataclasses import dataclass, field
from typing import Optional, Tuple

import numpy as np

from ..geometry.two_leg import NOMINAL_RADIUS_M, depth_per_path

SPEED_OF_LIGHT_M_NS = 0.299792458


@dataclass(frozen=True)
class EchoUse:
    """One echo that was looked at for the wave speed: where, whether it was used, what speed it told (m/ns, or NaN), and why."""

    name: str
    depth_m: float
    used: bool
    speed_m_ns: float
    reason: str


@dataclass(frozen=True)
class RegionSpeed:
    """Wave speed of a part of an area, with the 1-sigma of its difference from that of another part; m/ns."""

    where: str
    speed_m_ns: float
    sigma_m_ns: float


@dataclass(frozen=True)
class WaveSpeed:
    """Wave speed and time zero of one area, with 1-sigma and how they were found.

    `time_zero_ns` is the instant in the record at which the centre of the emitted pulse is at the transmitter.
    `correlation` is that of the errors of speed and time zero. `warnings` are sentences for the surveyor. `echoes` lists
    what the estimate from bars looked at. `focus_speed_m_ns` is what the focusing of deep echoes says for itself (NaN where no
    deep objects cross the lines squarely). `pulse_phase_rad` is the phase of the antenna's pulse at its centre, 0 for a positive
    Ricker pulse; images are made of traces turned back by it. `regions` are halves of the area, two for each direction of lines
    that allows it. `antenna_separation_m` is that of the dipoles which the depths were computed with.
    """

    area_id: str
    speed_m_ns: float
    sigma_m_ns: float
    time_zero_ns: float
    sigma_time_zero_ns: float
    method: str
    correlation: float = 0.0
    warnings: Tuple[str, ...] = ()
    echoes: Tuple[EchoUse, ...] = ()
    focus_speed_m_ns: float = float("nan")
    focus_sigma_m_ns: float = float("nan")
    pulse_phase_rad: float = 0.0
    regions: Tuple[RegionSpeed, ...] = ()
    antenna_separation_m: float = 0.0

    @property
    def relative_permittivity(self) -> float:
        return (SPEED_OF_LIGHT_M_NS / self.speed_m_ns) ** 2

    def depth_slopes_m(self, depth_m):
        """Change of the depth of an item's top with one 1-sigma more of wave speed and of time zero (first order), metres each."""
        per_path, path = depth_per_path(np.maximum(depth_m, 0.0), self.antenna_separation_m, NOMINAL_RADIUS_M)
        return (
            per_path * path * self.sigma_m_ns / self.speed_m_ns,
            -per_path * self.speed_m_ns * self.sigma_time_zero_ns,
        )

    def depth_sigma_m(self, depth_m):
        """1-sigma of the depth of an item's top from wave speed and time zero alone (first order), metres."""
        by_speed, by_zero = self.depth_slopes_m(depth_m)
        return np.sqrt(by_speed**2 + by_zero**2 + 2 * self.correlation * by_speed * by_zero)


@dataclass(frozen=True)
class DepthVolume:
    """Echo strength of one area on a regular grid of its local frame.

    Attributes
    ----------
    x_m, y_m, depth_m : ndarray
        Cell centres, metres: shapes (column,), (row,) with row 0 at the smallest y, and (depth,).
    strength_db : ndarray, float32, shape (row, column, depth)
        Envelope of the migrated echo over the local noise, dB; NaN outside what was scanned.
    """

    area_id: str
    x_m: np.ndarray = field(compare=False)
    y_m: np.ndarray = field(compare=False)
    depth_m: np.ndarray = field(compare=False)
    strength_db: np.ndarray = field(compare=False)


@dataclass(frozen=True)
class SlabBase:
    """Depth of the slab base where it is seen, on the plan grid of a `DepthVolume`.

    `thickness_m`, `sigma_m` : shape (row, column), metres, NaN where no base echo stands out.
    """

    area_id: str
    x_m: np.ndarray = field(compare=False)
    y_m: np.ndarray = field(compare=False)
    thickness_m: np.ndarray = field(compare=False)
    sigma_m: np.ndarray = field(compare=False)

    @property
    def seen(self) -> bool:
        return bool(np.isfinite(self.thickness_m).any())


@dataclass(frozen=True)
class ShallowCell:
    """A square of an area that is seen less deep than the rest: corners in the local grid and depth, metres."""

    x_min_m: float
    y_min_m: float
    x_max_m: float
    y_max_m: float
    depth_m: float


@dataclass(frozen=True)
class AreaDepths:
    """What the echoes of one area say of the slab: depth to which it counts as scanned, slab thickness and its 1-sigma (metres).

    None where that is not known. `shallow` are the cells that are seen less deep than the area as a whole.
    """

    reliable_m: Optional[float]
    thickness_m: Optional[float] = None
    sigma_thickness_m: Optional[float] = None
    shallow: Tuple[ShallowCell, ...] = ()
