"""The fit of all scan areas to the site grid at once: the one home for where areas lie and how sure that is.

Observations that disagree are found one at a time by their standardized residuals (data snooping) and left out, but only where
the others say which one it is; each is named. What cannot be decided stays in, and widens the stated uncertainty.
"""

from dataclasses import replace
from typing import Dict, List, Mapping, Sequence

import numpy as np

from ..common.language import tr
from ..survey.model import ControlPoint, ScanArea
from .control import at_one_place, check_control, usable_points, why_not_placed
from .first_positions import first_positions
from .network import Solution
from .observations import Observations
from .outliers import leave_out_outliers
from .results import FitSettings, Results, SiteFit
from .rows import build_network, frame_of
from .statistics import critical_ratio


def fit_areas(
    areas: Sequence[ScanArea], observations: Observations = Observations(), settings: FitSettings = FitSettings()
) -> SiteFit:
    """The joint adjustment of `areas`; an area that cannot be placed gets status 'not positioned' and says why.

    Nothing is rejected silently: unusable points, a scale that does not fit, observations that disagree with the others and
    points that only fit the mirror image each give a sentence in the warnings (of the area, or of the whole).
    """
    by_id = {area.area_id: area for area in areas}
    warnings: Dict[str, List[str]] = {area_id: [] for area_id in by_id}
    general: List[str] = []
    refusals: Dict[str, str] = {}
    control: Dict[str, List[ControlPoint]] = {}
    for area in areas:
        control[area.area_id], warnings[area.area_id] = usable_points(area)
        points = control[area.area_id]
        if len(points) > 1 and not any(at_one_place(points, grid) for grid in ("local_m", "site_m")):
            refusal, found = check_control(area, points, settings.free_scale)
            warnings[area.area_id] += found
            if refusal:
                refusals[area.area_id] = refusal
    observations = _with_known_areas(observations, by_id, general)
    started = first_positions([a for a in areas if a.area_id not in refusals], control, observations)
    for area_id in by_id:
        if area_id not in started:
            refusals.setdefault(area_id, why_not_placed(area_id, control[area_id]))

    while True:
        network, groups = build_network(by_id, started, control, observations, settings.free_scale)
        solution = network.solve(np.ones(len(network.a), bool)) if started else Solution()
        if not solution.undetermined:
            break
        lost = solution.undetermined
        del started[lost]
        refusals[lost] = tr(
            "Area {lost} is not positioned: what is known about it does not determine its position; add control "
            "points.",
            lost=lost,
        )
    used = np.ones(len(network.a), bool)
    if started:
        used, solution = leave_out_outliers(network, groups, solution, critical_ratio(settings.significance))
    return Results(by_id, network, groups, used, solution, settings).site_fit(refusals, warnings, general)


def _with_known_areas(observations: Observations, by_id: Mapping[str, ScanArea], warnings: List[str]) -> Observations:
    """Without those that name an area that there is not, or tie two different planes; `warnings` names them."""

    def known(name, area_ids):
        missing = [area_id for area_id in area_ids if area_id not in by_id]
        if missing:
            warnings.append(
                tr("{name} is not used: there is no area {missing}; correct its row.", name=name, missing=missing[0])
            )
        return not missing

    ties = []
    for tie in observations.ties:
        if known(tr("Tie {tie_id}", tie_id=tie.tie_id), tie.area_ids):
            one, other = (frame_of(by_id[area_id]) for area_id in tie.area_ids)
            if one != other or len(set(tie.area_ids)) == 1:
                warnings.append(
                    tr(
                        "Tie {tie_id} is not used: it must join two areas of the same plan or the same wall, not "
                        "{area_id} and {other}; correct its row.",
                        tie_id=tie.tie_id,
                        area_id=tie.area_ids[0],
                        other=tie.area_ids[1],
                    )
                )
            else:
                ties.append(tie)
    directions = [
        d
        for d in observations.directions
        if known(tr("Direction {direction_id}", direction_id=d.direction_id), [d.area_id])
    ]
    distances = [
        d
        for d in observations.distances
        if known(tr("Taped distance {distance_id}", distance_id=d.distance_id), [d.area_id])
    ]
    return replace(observations, ties=tuple(ties), directions=tuple(directions), distances=tuple(distances))
