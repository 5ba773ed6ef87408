"""Rows of the layers `items` and `picks`: whose they are, and how a run wrote them."""

from dataclasses import dataclass, field
from typing import Mapping, Optional, Tuple

import numpy as np

from ..items.model import Pick
from ..site.frame import AreaFit

COMPUTED, SURVEYOR = "computed", "surveyor"


@dataclass(frozen=True)
class Known:
    """One row as a run wrote it.

    Attributes
    ----------
    layer : str
        ``items`` or ``picks``.
    vertices_m : ndarray, shape (n, 3)
        x, y and depth. Items: in the site grid, or in the local one of an area that was not positioned; picks: always local.
    source : str
        Whose row it was.
    instead : str or None
        Of a dismissed one: the surveyor's row that stands in its place; None where the surveyor deleted it.
    """

    layer: str
    row_id: str
    area_id: str
    line_id: Optional[str]
    kind: Optional[str]
    vertices_m: np.ndarray = field(compare=False)
    source: str = COMPUTED
    fingerprint: str = ""
    instead: Optional[str] = None


@dataclass(frozen=True)
class Drawn:
    """A row that is the surveyor's: where it lies (as `Layer` rows have it), its values, and how a run last wrote it."""

    row_id: Optional[str]
    position: object = field(compare=False)
    values: Mapping = field(compare=False)
    before: Optional[Known] = None


@dataclass(frozen=True)
class Edits:
    """All that was edited by hand in one survey, and what was not.

    Attributes
    ----------
    items, picks : tuple of Drawn
        The surveyor's rows.
    dismissed : tuple of Known
        What was computed and gave way.
    untouched : tuple of Known
        The computed rows that nobody changed.
    computed_picks : tuple of Pick
        Those picks among them, in their areas' local grids.
    places : dict
        Where the areas lay when the survey was written, by area id.
    areas : frozenset
        Identity of each scan area (id, level, surface, date), to tell this survey from another one.
    """

    items: Tuple[Drawn, ...] = ()
    picks: Tuple[Drawn, ...] = ()
    dismissed: Tuple[Known, ...] = ()
    untouched: Tuple[Known, ...] = ()
    computed_picks: Tuple[Pick, ...] = ()
    places: Mapping[str, AreaFit] = field(default_factory=dict)
    areas: frozenset = frozenset()

    def __bool__(self) -> bool:
        return bool(self.items or self.picks or self.dismissed)
