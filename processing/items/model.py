"""What detection finds: picks on single lines and items through many lines."""

from dataclasses import dataclass, field
from typing import Dict, Tuple

import numpy as np


@dataclass(frozen=True)
class Pick:
    """One item seen on one line.

    Attributes
    ----------
    x_m, y_m : float
        Position in the area's local grid, metres.
    depth_m : float
        Below the scanned surface, to the top of the item.
    sigma_along_m, sigma_depth_m : float
        1-sigma of the position along the line and of the depth, metres.
    polarity : int
        Sign of the main extremum of the echo: -1 for metal and water, +1 for an air-filled void.
    strength_db : float
        Echo over the local noise, dB.
    polarization_ratio_db : float
        Amplitude with dipoles along the line over that with dipoles across it, dB; NaN where one is missing.
    """

    pick_id: str
    item_id: str
    area_id: str
    line_id: str
    x_m: float
    y_m: float
    depth_m: float
    sigma_along_m: float
    sigma_depth_m: float
    polarity: int
    strength_db: float
    polarization_ratio_db: float


@dataclass(frozen=True)
class Item:
    """One real object as a polyline.

    Attributes
    ----------
    vertices_m : ndarray, shape (n, 3)
        x, y and depth to the top, metres; local grid as detected, site grid once placed.
    kind_probabilities : dict
        Probability of each of `vocabulary.kinds.KINDS`, 0 for one that is missing; they sum to 1.
    confidence : float
        0 to 1: that there is an object here at all.
    sigma_xy_m, sigma_depth_m : float
        1-sigma across the item in plan, and of its depth, metres.
    reasons : str
        One sentence: why this kind.
    flag : str
        What must be checked on site, in words; empty where nothing is doubtful.
    """

    item_id: str
    area_ids: Tuple[str, ...]
    vertices_m: np.ndarray = field(compare=False)
    kind_probabilities: Dict[str, float] = field(compare=False)
    confidence: float
    sigma_xy_m: float
    sigma_depth_m: float
    pick_count: int
    reasons: str = ""
    flag: str = ""

    @property
    def kind(self) -> str:
        return max(self.kind_probabilities, key=self.kind_probabilities.get)

    @property
    def kind_confidence(self) -> float:
        return self.kind_probabilities[self.kind]
