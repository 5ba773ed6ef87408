"""Which marks of two areas are one observation, and which instrument an area's scale belongs to."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.observations import Observations, Tie
from inslab.processing.site.results import FitSettings
from inslab.processing.survey.model import ControlPoint, ScanArea

CORNERS = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])
SHARED = "site position of control point"


def area(area_id, first="M1", moved=(0.0, 0.0), local_sigma=0.001, surface="top", level="L1", scale=1.0, **extra):
    """Four corners; the first has the name `first` and its site position is `moved`."""
    points = tuple(
        ControlPoint(area_id, first if n == 0 else f"{area_id}{n}", tuple(here), tuple(there), 0.005, local_sigma)
        for n, (here, there) in enumerate(zip(CORNERS, CORNERS * scale + (20.0, 30.0)))
    )
    points = (replace(points[0], site_m=tuple(np.add(points[0].site_m, moved))), *points[1:])
    return ScanArea(area_id, level, surface, 0.06, 1500.0, control_points=points, extra=extra)


@pytest.mark.parametrize(
    ("changes", "shared"),
    [
        ({}, True),
        ({"moved": (0.00009, 0.0)}, True),
        ({"moved": (0.00011, 0.0)}, False),
        ({"moved": (0.0, 0.00011)}, False),
        ({"moved": (0.0, -0.00011)}, False),
        ({"first": "M2"}, False),
        ({"local_sigma": 0.0}, False),
        ({"surface": "wall"}, False),
    ],
)
def test_a_mark_is_one_where_name_plane_and_place_are_the_same(changes, shared):
    """Within 0.1 mm, and where both areas state the sigma of the mark itself. What follows for A is told by its observations."""
    found = fit_areas([area("A"), area("B", **changes)])
    assert [(one.name, one.area_ids) for one in found.observations if one.kind == SHARED] == (
        [("M1", ("A", "B"))] if shared else []
    )
    sigma = next(one.sigma for one in found.observations if one.area_ids == ("A",) and one.name == "M1")
    assert sigma == pytest.approx([0.001 if shared else np.hypot(0.005, 0.001)] * 2)
    assert found.degrees_of_freedom == 10  # 5 each; a shared mark brings two observations and two unknowns


def test_the_largest_sigma_stated_for_a_shared_mark_holds_in_any_order():
    one, other = area("A"), area("B")
    first, *rest = other.control_points
    other = replace(other, control_points=(replace(first, sigma_m=0.009), *rest))
    for areas in ([one, other], [other, one]):
        (shared,) = (found for found in fit_areas(areas).observations if found.kind == SHARED)
        assert shared.sigma == pytest.approx([0.009] * 2)


def test_walls_of_one_level_share_marks_and_ties_and_others_do_not():
    walls = [area(name, surface="wall", level=level) for name, level in (("A", "north"), ("B", "north"), ("C", "east"))]
    ties = tuple(Tie(f"T{n}", pair, ((0.0, 0.0), (0.0, 0.0)), 0.002) for n, pair in enumerate((("A", "B"), ("A", "C"))))
    found = fit_areas(walls, Observations(ties))
    assert [one.area_ids for one in found.observations if one.kind == SHARED] == [("A", "B")]
    assert [one.name for one in found.observations if one.kind == "tie"] == ["T0"]
    assert "Tie T1 is not used" in found.warnings[0]


def test_areas_without_an_instrument_s_name_share_one_scale():
    areas = [
        area("A", "1", scale=1.01, instrument="w1"),
        area("B", "2", scale=0.99),
        area("C", "3", scale=0.99, instrument=""),
        area("D", "4", scale=1.01, instrument="w1"),
    ]
    found = fit_areas(areas, settings=FitSettings(free_scale=True))
    sigma = np.hypot(0.005, 0.001) / np.sqrt(2 * 4 * (0.6**2 + 0.5**2))
    assert found.scales == {
        "w1": (pytest.approx(1.01, abs=1e-9), pytest.approx(sigma, rel=1e-6)),
        "all instruments": (pytest.approx(0.99, abs=1e-9), pytest.approx(sigma, rel=1e-6)),
    }
    assert [round(fit.scale, 6) for fit in found.fits.values()] == [1.01, 0.99, 0.99, 1.01]
    assert found.degrees_of_freedom == 4 * 8 - 4 * 3 - 2
