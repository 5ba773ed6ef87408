"""What the areas of each plane hold together: coverage and items on the site grid, items joined, seams."""

from dataclasses import replace
from typing import Dict, List, Optional

from ..area.compute import timed
from ..common.monitor import Monitor
from ..common.packages import packages
from ..survey.model import ScanArea
from .coverage import Coverage, find_coverage
from .overlaps import find_seams
from .placing import group_by_plane, place_item
from .result import Found, SurveyRead
from .shadows import Shadow, drowned_ground, find_shadows


def place_and_join(read: SurveyRead, found: Found, monitor: Monitor) -> Found:
    """`found` with items and coverage on the site grid by the present fits, and items joined across the areas of each plane.

    Those of areas that are not positioned stay in their local grids. Also finds the seams, and where two areas disagree on what
    could be one object.
    """
    seconds: Dict[str, float] = {}
    with timed(seconds, "place"):
        placed, unplaced = [], []
        for item in found.area_items:
            fit = found.fits[item.area_ids[0]]
            if fit.is_fitted:
                placed.append(place_item(item, fit))
            else:
                unplaced.append(item)
        coverage: List[Coverage] = []
        for area in read.survey.areas:
            fit = found.fits[area.area_id]
            if fit.is_fitted and area.area_id in found.depths:
                reliable = found.depths[area.area_id].reliable_m
                coverage += find_coverage(area, fit, reliable, _shadows(found, area))
    items, disagreements = [], []
    joined_as: Dict[str, Optional[str]] = {}
    with timed(seconds, "join"), packages():
        from ..items.join import join_items

        planes = group_by_plane([area for area in read.survey.areas if found.fits[area.area_id].is_fitted])
        for number, areas in enumerate(planes.values()):
            ids = {area.area_id for area in areas}
            here = [item for item in placed if item.area_ids[0] in ids]
            if here:
                own = join_items(here, monitor=monitor.part(number / len(planes), (number + 1) / len(planes)))
                joined_as.update(own.joined_as)
                items += own.items
                disagreements += own.disagreements
        seams = find_seams(found.picks, read.areas, found.fits)
    joined = replace(
        found,
        coverage=tuple(coverage),
        items=(*items, *unplaced),
        joined_as=joined_as,
        disagreements=tuple(disagreements),
        seams=tuple(seams),
    )
    return joined.taking(seconds)


def _shadows(found: Found, area: ScanArea) -> List[Shadow]:
    """Ground of an area that is seen less deep than the rest, in its local grid, the shallowest first."""
    shadows = drowned_ground(found.depths[area.area_id].shallow)
    speed = found.wave_speeds.get(area.area_id)
    if speed is not None:
        own = [item for item in found.area_items if item.area_ids[0] == area.area_id]
        shadows += find_shadows(own, speed.speed_m_ns / area.centre_frequency_ghz)
    return sorted(shadows, key=lambda shadow: shadow.depth_m)
