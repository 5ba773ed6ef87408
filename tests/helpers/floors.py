"""A simulated floor: many areas of 1.2 m by 1.0 m in rows that overlap, with control points, ties and known truth."""

import numpy as np

from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import Tie
from inslab.processing.survey.model import ControlPoint, ScanArea

CORNERS = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])
STEP_M = (1.0, 0.85)  # from area to area: they overlap by 0.2 m and 0.15 m


def floor(count, random, sigma_m=0.003, tie_sigma_m=0.003, every=1, columns=20):
    """Areas, ties between neighbours, and each area's true position as an `AreaFit`, by id.

    Every `every`-th area has its four corners as control points, the others none; each pair of neighbours in a row or a column
    has two ties (none at all if `tie_sigma_m` is None).
    """
    truth, areas, ties = {}, [], []
    for number in range(count):
        row, column = divmod(number, columns)
        area_id = f"A{number:03d}"
        angle = random.normal(0, 0.03)
        shift = np.array([100.0 + STEP_M[0] * column, 50.0 + STEP_M[1] * row]) + random.normal(0, 0.02, 2)
        truth[area_id] = AreaFit(area_id, FITTED, angle, shift)
        points = ()
        if number % every == 0:
            site = truth[area_id].to_site(CORNERS) + random.normal(0, sigma_m, (4, 2))
            points = tuple(
                ControlPoint(area_id, f"P{n}", tuple(local), tuple(there), sigma_m)
                for n, (local, there) in enumerate(zip(CORNERS, site), 1)
            )
        areas.append(ScanArea(area_id, "L1", "top", 0.06, 1500.0, control_points=points))
        if tie_sigma_m is not None:
            beside = [(number - 1, (0.1, (0.2, 0.8)))] if column else []
            below = [(number - columns, ((0.3, 0.9), 0.07))] if row else []
            for other, (x, y) in beside + below:
                places = [(x, one) for one in y] if np.ndim(y) else [(one, y) for one in x]
                for n, place in enumerate(places):
                    there = truth[f"A{other:03d}"].to_local(truth[area_id].to_site([place]))[0]
                    there = there + random.normal(0, tie_sigma_m, 2)
                    ids = (area_id, f"A{other:03d}")
                    ties.append(Tie(f"T{number}-{other}-{n}", ids, (tuple(place), tuple(there)), tie_sigma_m))
    return areas, tuple(ties), truth


def corner_errors(fits, truth):
    """Fitted minus true site position of every corner, metres, shape (area, corner, 2)."""
    return np.array([fits[area_id].to_site(CORNERS) - truth[area_id].to_site(CORNERS) for area_id in truth])
