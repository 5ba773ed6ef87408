"""Mats of each plane as a table of survey.gpkg and as a part of the report."""

from dataclasses import dataclass
from typing import List

from ..items.mats import Mat, find_mats
from .placing import plane_of
from .result import Found, SurveyRead


@dataclass(frozen=True)
class PlaneMat:
    """A mat, its id, and the plane it lies in."""

    mat_id: str
    level: str
    surface: str
    mat: Mat


def find_all_mats(read: SurveyRead, found: Found) -> List[PlaneMat]:
    """The mats among the placed items of each plane, numbered through."""
    by_plane = {}
    for item in found.items:
        area = read.areas[item.area_ids[0]]
        if found.fits[area.area_id].is_fitted:
            by_plane.setdefault(plane_of(area), []).append(item)
    mats = [(plane, mat) for plane in sorted(by_plane) for mat in find_mats(by_plane[plane])]
    return [PlaneMat(f"M{number}", *plane, mat) for number, (plane, mat) in enumerate(mats, 1)]
