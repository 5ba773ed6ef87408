"""The joint fit against calculations by hand: what a direction and a shared mark weigh, and what is said of what disagrees."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import KnownDirection, Observations, TapeDistance, Tie
from inslab.processing.site.results import FitSettings
from inslab.processing.survey.model import ControlPoint, ScanArea

CORNERS = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])
TRUTH = AreaFit("A", FITTED, 0.3, np.array([20.0, 30.0]))
SIGMA = 0.003


def area(area_id="A", truth=TRUTH, count=4, local_sigma=0.0, **extra):
    """Corners as control points without any error."""
    points = tuple(
        ControlPoint(area_id, f"P{n}", tuple(here), tuple(there), SIGMA, local_sigma)
        for n, (here, there) in enumerate(zip(CORNERS[:count], truth.to_site(CORNERS)), 1)
    )
    surface = "soffit" if truth.mirrored else "top"
    return ScanArea(area_id, "L1", surface, 0.06, 1500.0, control_points=points, extra=extra)


@pytest.mark.parametrize("turns", [-1, 0, 2])
@pytest.mark.parametrize("surface", ["top", "soffit"])
def test_a_direction_and_control_points_share_the_rotation_by_their_weights(surface, turns):
    """Four corners with arms of 0.6 m and 0.5 m give the rotation to sigma / sqrt(4 (0.6² + 0.5²)); a direction that differs by
    3 mrad turns the area by its share of the weights. A whole turn more or less in the table is the same direction.
    """
    truth, side = (replace(TRUTH, mirrored=True), -1.0) if surface == "soffit" else (TRUTH, 1.0)
    differs, sigma = 0.003, 0.002
    site_rad = truth.rotation_rad + side * 0.25 + differs + turns * 2 * np.pi
    known = KnownDirection("along wall", "A", 0.25, site_rad, sigma)
    found = fit_areas([area(truth=truth)], Observations(directions=(known,)))
    fit = found.fits["A"]
    of_points, of_direction = 4 * (0.6**2 + 0.5**2) / SIGMA**2, sigma**-2.0
    share = of_direction / (of_points + of_direction)
    assert fit.rotation_rad == pytest.approx(truth.rotation_rad + share * differs, abs=1e-8)
    assert fit.to_site([(0.6, 0.5)]) == pytest.approx(truth.to_site([(0.6, 0.5)]), abs=1e-9)
    assert fit.covariance == pytest.approx(
        np.diag([SIGMA**2 / 4, SIGMA**2 / 4, 1 / (of_points + of_direction)]), rel=1e-6, abs=1e-12
    )
    (direction,) = (one for one in found.observations if one.kind == "direction")
    assert direction.residual[0] == pytest.approx((share - 1) * differs, abs=1e-8)
    assert direction.redundancy[0] == pytest.approx(1 - share, rel=1e-6)
    assert direction.standardized[0] == pytest.approx((share - 1) * differs / (sigma * np.sqrt(1 - share)), rel=1e-5)
    # Baarda's delta 0 for 0.1 per cent and a power of 80 per cent, from any table of the normal distribution.
    assert direction.detectable[0] == pytest.approx(4.132148 * sigma / np.sqrt(1 - share), rel=1e-6)
    assert found.degrees_of_freedom == 6
    assert fit.degrees_of_freedom == pytest.approx(6, abs=1e-5)
    squares = of_points * (share * differs) ** 2 + of_direction * ((1 - share) * differs) ** 2
    assert found.variance_factor == pytest.approx(squares / 6, rel=1e-5)
    assert fit.sigma0 == pytest.approx(np.sqrt(squares / 6), rel=1e-5)
    assert found.warnings == ()


def test_a_wrong_direction_is_named_in_degrees():
    known = KnownDirection("along wall", "A", 0.0, TRUTH.rotation_rad + np.radians(2.0), 0.002)
    found = fit_areas([area()], Observations(directions=(known,)))
    (warning,) = found.warnings
    of_points = SIGMA / np.sqrt(4 * (0.6**2 + 0.5**2))  # left out, it is predicted by the points
    assert (
        f"The direction along wall (A) is left out, because it differs by 2.00 degrees "
        f"({np.radians(2.0) / np.hypot(of_points, 0.002):.1f} sigma)" in warning
    )
    assert found.fits["A"].rotation_rad == pytest.approx(TRUTH.rotation_rad, abs=1e-9)
    assert found.variance_factor == pytest.approx(0.0, abs=1e-9)
    assert found.degrees_of_freedom == 5


def test_a_wrong_taped_distance_is_named_in_millimetres():
    """From a line that runs along x through the site's origin; the point lies 30 m to its left."""
    taped = TapeDistance("B", "A", (0.0, 0.0), (0.0, 0.0), (50.0, 0.0), 30.1, 0.004)
    found = fit_areas([area()], Observations(distances=(taped,)))
    (warning,) = found.warnings
    assert "The taped distance B (A) is left out, because it differs by 100 mm" in warning
    assert found.fits["A"].shift_m == pytest.approx(TRUTH.shift_m, abs=1e-9)


def test_two_ties_of_which_nothing_says_which_is_wrong_widen_the_uncertainty():
    """B hangs on A by two ties 1 m apart; one is 40 mm longer along the line between them, so either may be wrong."""
    other = AreaFit("B", FITTED, -0.2, np.array([20.9, 30.6]))

    def joint(error):
        ties = []
        for n, (y, more) in enumerate(((0.0, 0.0), (1.0, error))):
            there = other.to_local(TRUTH.to_site([(1.1, y + more)]))[0]
            ties.append(Tie(f"T{n}", ("A", "B"), ((1.1, y), tuple(there)), 0.002))
        return fit_areas([area(), area("B", other, count=0)], Observations(tuple(ties)))

    good, bad = joint(0.0), joint(0.04)
    # Each tie's residual is half of the 40 mm; four rows of ties for three unknowns leave one degree of freedom, so that each
    # of the two has half of it along the line: 20 mm over 2 mm sqrt(1/2).
    assert [
        f"The tie T{n} (A and B) differs by 20 mm (14.1 sigma) from the others" in bad.warnings[-2 + n] for n in (0, 1)
    ] == [True] * 2
    assert all(one.used for one in bad.observations)
    assert good.warnings == ()
    assert bad.fits["B"].sigma_xy_m > 3 * good.fits["B"].sigma_xy_m


def test_a_mark_of_two_areas_stands_where_its_site_coordinates_say():
    other = AreaFit("B", FITTED, 0.3, TRUTH.shift_m)
    fit = fit_areas([area(local_sigma=0.001), area("B", other, local_sigma=0.001)])
    for area_id in "AB":
        assert fit.fits[area_id].to_site(CORNERS) == pytest.approx(TRUTH.to_site(CORNERS), abs=1e-9)
    assert sum(one.kind == "site position of control point" for one in fit.observations) == 4
    assert fit.degrees_of_freedom == 3 * 8 - 2 * 3 - 4 * 2


def test_an_area_that_nothing_checks_says_so():
    """One point and one direction: three observations of three unknowns."""
    known = KnownDirection("along wall", "A", 0.0, TRUTH.rotation_rad, 0.002)
    found = fit_areas([area(count=1)], Observations(directions=(known,)))
    (point,) = found.fits["A"].points
    assert point.used
    assert point.standardized is None
    assert np.isnan(point.detectable_m).all()
    assert (found.variance_factor, found.interval, found.degrees_of_freedom) == (None, None, 0)
    assert found.fits["A"].sigma0 is None


def test_a_tie_of_an_area_with_itself_or_with_a_wall_is_named():
    wall = replace(area("W"), surface="wall")
    ties = (
        Tie("T1", ("A", "A"), ((0.0, 0.0), (0.1, 0.0)), 0.002),
        Tie("T2", ("A", "W"), ((0.0, 0.0), (0.0, 0.0)), 0.002),
        Tie("T3", ("Y", "Z"), ((0.0, 0.0), (0.0, 0.0)), 0.002),
    )
    found = fit_areas([area(), wall], Observations(ties))
    assert "Tie T1 is not used" in found.warnings[0]
    assert "not A and A" in found.warnings[0]
    assert "not A and W" in found.warnings[1]
    assert "there is no area Y" in found.warnings[2]
    assert len(found.warnings) == 3
    assert found.degrees_of_freedom == 2 * 5


def test_two_points_in_millimetres_are_refused():
    one = area(count=2)
    points = tuple(replace(point, local_m=tuple(np.multiply(point.local_m, 1000))) for point in one.control_points)
    fit = fit_areas([replace(one, control_points=points)]).fits["A"]
    assert not fit.is_fitted
    assert "millimetres" in fit.warnings[-1]


def test_an_instrument_with_a_scale_of_its_own_is_found_to_the_last_digit():
    """And its sigma is SIGMA / sqrt(4 (0.6² + 0.5²)), with arms in metres of the instrument; areas without a name share one."""
    stretched = replace(TRUTH, scale=1.01)
    found = fit_areas([area(truth=stretched)], settings=FitSettings(free_scale=True))
    assert found.scales == {
        "all instruments": (pytest.approx(1.01, abs=1e-9), pytest.approx(SIGMA / np.sqrt(2.44), rel=1e-6))
    }
    fit = found.fits["A"]
    assert fit.to_site(CORNERS) == pytest.approx(stretched.to_site(CORNERS), abs=1e-9)
    assert fit.to_local(stretched.to_site(CORNERS)) == pytest.approx(CORNERS, abs=1e-9)
    expected = [SIGMA**2 / 4, SIGMA**2 / 4, SIGMA**2 / (1.01**2 * 2.44), SIGMA**2 / 2.44]
    assert fit.covariance == pytest.approx(np.diag(expected), rel=1e-6, abs=1e-12)
    assert found.degrees_of_freedom == 4
