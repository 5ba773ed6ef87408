"""What is left out and what is not, where the answer follows from the geometry alone."""

import numpy as np
import pytest

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.observations import KnownDirection, Observations, TapeDistance
from inslab.processing.survey.model import ControlPoint, ScanArea

CORNERS = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])
SIGMA = 0.003


def area(area_id, errors, shift=(20.0, 30.0)):
    """An area that is only shifted, with the first corners as control points and their errors."""
    points = tuple(
        ControlPoint(area_id, f"P{n}", tuple(here), tuple(np.add(here, shift) + error), SIGMA)
        for n, (here, error) in enumerate(zip(CORNERS, np.asarray(errors, float)), 1)
    )
    return ScanArea(area_id, "L1", "top", 0.06, 1500.0, control_points=points)


def test_two_points_that_differ_along_their_line_stay_in_beside_a_direction():
    """Either point alone would place the area with the direction, and it is not clear which is wrong: 30 mm are half on each.

    Five rows, three unknowns: two degrees of freedom, of which the residuals use one. Each residual of 15 mm has half the variance
    of 3 mm: 7.07 sigma. The variance factor is 2 (15 / 3)² / 2 = 25, so sigmas are 5 times as large.
    """
    known = KnownDirection("along wall", "A", 0.0, 0.0, 0.002)
    found = fit_areas([area("A", [(0, 0), (0.03, 0)])], Observations(directions=(known,)))
    fit = found.fits["A"]
    assert [point.used for point in fit.points] == [True, True]
    assert [point.standardized for point in fit.points] == pytest.approx([15 / 3 * np.sqrt(2)] * 2, rel=1e-5)
    assert "its two control points P1 and P2 disagree by 15 mm, 7.1 sigma" in fit.warnings[-1]
    assert fit.sigma0 == pytest.approx(5.0, rel=1e-5)
    assert fit.sigma_xy_m == pytest.approx(5 * SIGMA / np.sqrt(2), rel=1e-5)
    assert "Residuals are 5.00 times as large as the stated sigmas imply" in found.warnings[0]
    assert "2 degrees of freedom" in found.warnings[0]


def test_a_point_that_an_area_cannot_do_without_stays_and_others_are_still_looked_at():
    """A: P2 lies 25 mm off along x; P1 and a distance taped to P1 along x agree, so that a residual of 25 x 2/3 mm with the sigma
    3 sqrt(2/3) mm is left to P2. But without P2 nothing says how A is turned. In B, P3 lies 20 mm off and four points suffice;
    that A's larger residual cannot be left out does not keep B's.
    """
    taped = TapeDistance("north wall", "A", (0.0, 0.0), (0.0, 0.0), (0.0, -50.0), 20.0, SIGMA)
    one = area("A", [(0, 0), (0.025, 0)])
    other = area("B", [(0, 0), (0, 0), (0.02, 0), (0, 0)], (40.0, 30.0))
    for areas in ((one, other), (other, one)):
        found = fit_areas(areas, Observations(distances=(taped,)))
        assert [point.used for point in found.fits["A"].points] == [True, True]
        assert (
            "P1 and P2 disagree by 17 mm, 6.8 sigma, and it is not clear which is wrong" in found.fits["A"].warnings[-1]
        )
        assert [point.used for point in found.fits["B"].points] == [True, True, False, True]
        assert found.fits["B"].shift_m == pytest.approx([40.0, 30.0], abs=1e-9)
