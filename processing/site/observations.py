"""What besides control points says where areas lie: ties, known directions, taped distances. All have 1-sigmas."""

from dataclasses import dataclass, replace
from typing import Optional, Tuple

from .walls import WallLine

FROM_TABLE, FROM_ITEMS = "table", "items"


@dataclass(frozen=True)
class Tie:
    """One feature seen in two areas.

    Attributes
    ----------
    area_ids : (str, str)
    local_m : two (x, y)
        The feature in the local grid of each area, metres.
    sigma_m : float
        1-sigma of the difference between the two positions, metres, along each axis.
    direction_rad : float or None
        None for a point. For a straight item: its direction in the local grid of the first area; only the offset across it
        is then an observation, because nothing marks a place along it.
    source : str
        ``table`` (given by hand) or ``items`` (proposed from items found in both areas).
    """

    tie_id: str
    area_ids: Tuple[str, str]
    local_m: Tuple[Tuple[float, float], Tuple[float, float]]
    sigma_m: float
    direction_rad: Optional[float] = None
    source: str = FROM_TABLE


@dataclass(frozen=True)
class KnownDirection:
    """An area laid along something whose direction is known.

    `local_rad` in the area's local grid (0 is its x axis) lies along `site_rad` in the site grid; both anticlockwise from x.
    """

    direction_id: str
    area_id: str
    local_rad: float
    site_rad: float
    sigma_rad: float


@dataclass(frozen=True)
class TapeDistance:
    """A point of an area, taped from a line of the building grid.

    `distance_m` is square to the line from `line_start_m` to `line_end_m` (site metres), positive to its left.
    """

    distance_id: str
    area_id: str
    local_m: Tuple[float, float]
    line_start_m: Tuple[float, float]
    line_end_m: Tuple[float, float]
    distance_m: float
    sigma_m: float


@dataclass(frozen=True)
class Observations:
    """All of these of one survey, and where its walls stand in plan."""

    ties: Tuple[Tie, ...] = ()
    directions: Tuple[KnownDirection, ...] = ()
    distances: Tuple[TapeDistance, ...] = ()
    walls: Tuple[WallLine, ...] = ()

    def with_ties(self, further) -> "Observations":
        """These and further ties."""
        return replace(self, ties=(*self.ties, *further))
