"""Items of one area: all groups of lines searched, the findings described, joined and named."""

from functools import partial
from typing import List, Optional, Tuple

import numpy as np

from ..common.monitor import Monitor
from ..common.together import run_together
from ..radar.imaging import DEEPEST_M, recorded_depth_m
from ..radar.line_groups import GroupImages, LineGroup, group_lines
from ..radar.migration import ImageGrid
from ..radar.model import SlabBase, WaveSpeed
from ..radar.preprocessing import PreparedArea
from ..tracks.search import GroupSearch
from ..tracks.stack import middle_m
from .describe import Detected, describe
from .model import Item, Pick
from .naming import name_items
from .same_object import FOUND_TWICE_RAD, FOUND_TWICE_WAVELENGTHS

MARGIN_M = 0.06
IMAGE_STEP_M = 0.005
SHALLOWEST_M = 0.012


def detect_items(
    prepared: PreparedArea,
    speed: WaveSpeed,
    base: Optional[SlabBase] = None,
    monitor: Monitor = Monitor(),
) -> Tuple[List[Pick], List[Item]]:
    """Find the bars, tendons and conduits of one area.

    Parameters
    ----------
    base : SlabBase, optional
        Where the slab base is seen: nothing at or below it is taken for an item.

    Returns
    -------
    picks, items
        In the area's local grid; depths to the top, metres.
    """
    base_m = float(np.nanmedian(base.thickness_m)) if base is not None and base.seen else None
    deepest = min(DEEPEST_M, recorded_depth_m(prepared, speed), base_m + 0.02 if base_m else np.inf)
    wavelength = speed.speed_m_ns / prepared.area.centre_frequency_ghz

    def search_group(group: LineGroup, own: Monitor) -> GroupSearch:
        low, high = group.extent_m
        grid = ImageGrid(
            np.arange(low - MARGIN_M, high + MARGIN_M + 1e-6, IMAGE_STEP_M),
            np.arange(SHALLOWEST_M, deepest, wavelength / 32),
        )
        search = GroupSearch(GroupImages(prepared, group, speed, grid), base_m)
        search.run(own)
        search.let_go()
        return search

    searches = run_together([partial(search_group, group) for group in group_lines(prepared)], monitor.part(0.0, 0.9))
    shallow = shallow_bars(searches)
    detected = [one for search in searches for one in describe(search, speed, shallow)]
    detected = join_directions(detected, wavelength)
    return name_items(prepared, detected)


def shallow_bars(searches: List[GroupSearch]) -> List[Tuple[np.ndarray, np.ndarray, float]]:
    """Ends (local x, y) and depth of every object found, to ask later which passes run close beside an upper one."""
    out = []
    for search in searches:
        if len(search.offsets) < 2:
            continue
        span = np.array([search.offsets[0], search.offsets[-1]])
        middle = middle_m(search.images)
        for one in search.found:
            u, z = search.place(one)
            u_ends = np.interp(span, search.offsets, u)
            ends = search.images.group.to_local(u_ends, span + middle)
            out.append((ends[0], ends[1], float(np.median(z))))
    return out


def join_directions(detected: List[Detected], wavelength: float) -> List[Detected]:
    """An oblique object can be found by both groups of lines: keep the better one of two that coincide."""
    kept: List[Detected] = []
    for one in sorted(detected, key=lambda d: -d.found.track.strength):
        for other in kept:
            if other.search is one.search or abs(one.direction @ other.direction) < np.cos(FOUND_TWICE_RAD):
                continue
            normal = np.array([-other.direction[1], other.direction[0]])
            apart = abs((one.middle - other.middle) @ normal)
            deeper = abs(np.median(one.depth_m) - np.median(other.depth_m))
            if max(apart, deeper) < FOUND_TWICE_WAVELENGTHS * wavelength:
                break
        else:
            kept.append(one)
    return kept
