"""The surfaces that can be scanned: one table of what they and their plans are called, and which way depths count."""

from dataclasses import dataclass
from typing import Mapping, Optional, Tuple

from ..language import tr

TOP, SOFFIT, WALL = "top", "soffit", "wall"


@dataclass(frozen=True)
class Surface:
    """A surface that can be scanned; depths count from it.

    Attributes
    ----------
    word, title : str
        Within a sentence or table, and as a choice in the form of a new area.
    plane : str
        What its level is called, with the place `{level}`.
    drilled : str
        How a hole starts from it.
    from_below : bool
        Its plan mirrors the local grid, and depths count upwards.
    is_elevation : bool
        Its plan is an elevation.
    """

    key: str
    word: str
    title: str
    plane: str
    drilled: str
    from_below: bool = False
    is_elevation: bool = False


# In the order in which results are shown.
SURFACES: Mapping[str, Surface] = {
    surface.key: surface
    for surface in (
        Surface(TOP, tr("top"), tr("top of a slab"), "{level}", tr("drilled from the top")),
        Surface(
            SOFFIT,
            tr("soffit"),
            tr("soffit, scanned from below"),
            tr("{level} (seen from below)"),
            tr("drilled from below"),
            from_below=True,
        ),
        Surface(
            WALL,
            tr("wall"),
            tr("wall, as an elevation"),
            tr("{level} (elevation of a wall)"),
            tr("drilled into the wall"),
            is_elevation=True,
        ),
    )
}


def is_from_below(surface: Optional[str]) -> bool:
    """Was it scanned from below? Then plans mirror its local grid, and depths count upwards."""
    return surface in SURFACES and SURFACES[surface].from_below


def is_elevation(surface: Optional[str]) -> bool:
    """Is the plan of this surface an elevation?"""
    return surface in SURFACES and SURFACES[surface].is_elevation


def plane_words(plane: Tuple[str, str]) -> str:
    """Level, and from which side it was scanned."""
    level, surface = plane
    return SURFACES[surface].plane.format(level=level)


def plane_order(plane: Tuple[str, str]) -> Tuple[int, str]:
    """Sorts planes, (level, surface): plans by level, then what was seen from below, then walls."""
    level, surface = plane
    return list(SURFACES).index(surface), level
