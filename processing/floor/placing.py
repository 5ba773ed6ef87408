"""From the areas' local grids to the site grid: picks and items with the uncertainty that placing adds."""

from dataclasses import replace
from typing import Dict, Iterable, List, Mapping, Tuple

import numpy as np

from ..items.model import Item, Pick
from ..site.frame import AreaFit
from ..survey.model import ScanArea


def place_item(item: Item, fit: AreaFit) -> Item:
    """`item` of one fitted area with its vertices in the site grid.

    Its lateral sigma becomes the root sum of squares of its own and of the fit's (root mean square over the vertices).
    """
    local = item.vertices_m[:, :2]
    vertices = np.column_stack([fit.to_site(local), item.vertices_m[:, 2]])
    of_fit = np.sqrt(np.mean(fit.sigma_at(local) ** 2))
    return replace(item, vertices_m=vertices, sigma_xy_m=float(np.hypot(item.sigma_xy_m, of_fit)))


def plane_of(area: ScanArea) -> Tuple[str, str]:
    """Level and surface: only areas that share both lie in one plane with one direction of depth.

    A top and a soffit of one level count depth from opposite faces, and a wall's site coordinates are an elevation, so these
    are never joined, blended or compared.
    """
    return area.level, area.surface


def group_by_plane(areas: Iterable[ScanArea]) -> Dict[Tuple[str, str], List[ScanArea]]:
    """Areas by `plane_of`, in the order in which the planes first come up."""
    planes: Dict[Tuple[str, str], List[ScanArea]] = {}
    for area in areas:
        planes.setdefault(plane_of(area), []).append(area)
    return planes


def sigma_of_pick(pick: Pick, fits: Mapping[str, AreaFit]) -> float:
    """1-sigma of a pick's position in the site grid, metres; NaN without a fitted area."""
    fit = fits[pick.area_id]
    if not fit.is_fitted:
        return float("nan")
    return float(np.hypot(pick.sigma_along_m, fit.sigma_at([[pick.x_m, pick.y_m]])[0]))
