"""The surfaces that can be scanned: one table of what they and their plans are called, and which way depths count."""

from dataclasses import dataclass
from typing import Mapping, Optional, Tuple

from ..errors import short
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


def surface_of(key: Optional[str]) -> Surface:
    """The row of a surface, to show what a file holds; one that is none of them is told as such. What computes refuses it."""
    if key in SURFACES:
        return SURFACES[key]
    words = tr('unknown surface "{surface}"', surface=short(key)) if key else tr("surface not stated")
    in_braces = words.replace("{", "{{").replace("}", "}}")
    return Surface(key or "", words, words, f"{{level}} ({in_braces})", words)


def plane_words(plane: Tuple[Optional[str], Optional[str]]) -> str:
    """Level, and from which side it was scanned."""
    level, surface = plane
    return surface_of(surface).plane.format(level=level or tr("level not stated"))


def plane_order(plane: Tuple[Optional[str], Optional[str]]) -> Tuple[int, str, str]:
    """Sorts planes, (level, surface): plans by level, then what was seen from below, then walls, then unknown surfaces."""
    level, surface = plane
    number = list(SURFACES).index(surface) if surface in SURFACES else len(SURFACES)
    return number, level or "", surface or ""
