"""What is said of a fit: when uncertainties are enlarged and by how much, and which points are named, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import Observations, Tie
from inslab.processing.site.results import _best_known
from inslab.processing.survey.model import ControlPoint, ScanArea

CORNERS = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])
# No shift, rotation or scale of a rectangle takes anything off these errors of its corners.
PURE = np.array([[1.0, 1.0], [-1.0, -1.0], [1.0, 1.0], [-1.0, -1.0]])
SIGMA = 0.003


def area(area_id, errors, shift=(20.0, 30.0), local=CORNERS, sigmas=SIGMA):
    points = tuple(
        ControlPoint(area_id, f"P{n}", tuple(here), tuple(np.add(here, shift) + error), float(sigma))
        for n, (here, error, sigma) in enumerate(zip(local, errors, np.broadcast_to(sigmas, len(local))), 1)
    )
    return ScanArea(area_id, "L1", "top", 0.06, 1500.0, control_points=points)


@pytest.mark.parametrize(
    ("ratio", "enlarged", "told"),
    [
        (1.0, False, False),  # 8 / 5 = 1.6
        (
            1.16,
            False,
            False,
        ),  # 2.153; one-sided 95 per cent of chi-square with 5 degrees of freedom: 11.070 / 5 = 2.214
        (1.19, True, False),  # 2.266
        (1.25, True, False),  # 2.5; two-sided: 12.833 / 5 = 2.567
        (1.28, True, True),  # 2.621
        (2.0, True, True),  # 6.4, and each residual is 2.6 sigma, below 3.29
    ],
)
def test_residuals_larger_than_the_sigmas_enlarge_the_uncertainty(ratio, enlarged, told):
    """Eight residuals of `ratio` sigmas and five degrees of freedom; chi-square limits from any table."""
    found = fit_areas([area("A", ratio * SIGMA * PURE), area("B", 0 * PURE, (40.0, 30.0))])
    fit, other = found.fits["A"], found.fits["B"]
    factor = 8 * ratio**2 / 5
    assert fit.sigma0 == pytest.approx(np.sqrt(factor), rel=1e-6)
    assert fit.sigma_xy_m == pytest.approx((np.sqrt(factor) if enlarged else 1.0) * SIGMA / 2, rel=1e-6)
    assert other.sigma_xy_m == pytest.approx(SIGMA / 2, rel=1e-6)  # nothing ties it to A
    assert fit.warnings == ()
    alone = fit_areas([area("A", ratio * SIGMA * PURE)])
    assert alone.variance_factor == pytest.approx(factor, rel=1e-6)
    assert [f"Residuals are {np.sqrt(factor):.2f} times" in one for one in alone.warnings] == [True] * told
    assert found.variance_factor == pytest.approx(factor / 2, rel=1e-6)
    assert found.degrees_of_freedom == 10
    # 5 and 10 degrees of freedom; any table of chi-square.
    assert np.multiply(alone.interval, 5) == pytest.approx([0.831212, 12.832502], rel=1e-5)
    assert np.multiply(found.interval, 10) == pytest.approx([3.246973, 20.483177], rel=1e-5)
    assert fit.rms_residual_m == pytest.approx(np.sqrt(2) * ratio * SIGMA)


def test_a_single_degree_of_freedom_counts():
    """Two points 12 mm further apart than they should be: 6 mm on each, 2.83 sigma; a factor of 2 (6 / 3)² / 1 = 8 is larger than
    the one-sided 3.84 and the two-sided 5.02 of chi-square.
    """
    local, errors = [(0.0, 0.0), (2.0, 0.0)], [(0.0, 0.0), (0.012, 0.0)]
    found = fit_areas([area("A", errors, local=local)])
    assert (found.degrees_of_freedom, found.variance_factor) == (1, pytest.approx(8.0, rel=1e-6))
    assert found.interval == pytest.approx((0.000982, 5.023886), rel=1e-3)
    assert "Residuals are 2.83 times as large" in found.warnings[0]
    fit = found.fits["A"]
    assert fit.sigma_xy_m == pytest.approx(np.sqrt(8.0) * SIGMA / np.sqrt(2), rel=1e-6)
    assert (fit.sigma0, fit.degrees_of_freedom) == (pytest.approx(np.sqrt(8.0), rel=1e-5), pytest.approx(1.0, abs=1e-5))
    assert [point.standardized for point in fit.points] == pytest.approx([np.sqrt(8.0)] * 2, rel=1e-5)
    assert fit.warnings == ()


def test_what_hangs_together_is_enlarged_together():
    """Over a tie B is as uncertain as the residuals of both say: 8 x 2² over 12 degrees of freedom, a tie adding two."""
    tie = Tie("T", ("A", "B"), ((0.6, 0.5), (0.6, 0.5)), 1.0)
    areas = [area("A", 2 * SIGMA * PURE), area("B", 0 * PURE), area("C", 0 * PURE)]
    fits = fit_areas(areas, Observations((tie,))).fits
    factor = 8 * 2**2 / 12
    for area_id, enlargement in (("A", factor), ("B", factor), ("C", 1.0)):
        assert fits[area_id].sigma_xy_m == pytest.approx(np.sqrt(enlargement) * SIGMA / 2, rel=1e-4)
    assert fits["A"].sigma0 == pytest.approx(np.sqrt(8 * 2**2 / 7), rel=1e-4)  # of its own rows, two of them ties


def test_the_points_of_which_one_may_be_wrong_are_named_and_others_are_not():
    """P1 and P2 differ by 30 mm along their line; P3, of 30 mm, lies halfway and has no say: 15 mm on each, with a variance of
    half of 3 mm.
    """
    local = np.array([[0.0, 0.0], [2.0, 0.0], [1.0, 1.0]])
    errors = [(0.0, 0.0), (0.03, 0.0), (0.015, 0.0)]
    fits = fit_areas([area("A", errors, local=local, sigmas=[SIGMA, SIGMA, 0.03]), area("B", SIGMA * PURE)]).fits
    fit = fits["A"]
    assert all(point.used for point in fit.points)
    assert "Area A: control points P1 and P2 disagree by 15 mm, 7.1 sigma" in fit.warnings[-1]
    assert fit.shift_m == pytest.approx([20.015, 30.0], abs=1e-9)
    assert fit.sigma0 == pytest.approx(np.sqrt(2 * 5**2 / 3), rel=1e-6)
    assert fits["B"].sigma_xy_m == pytest.approx(SIGMA / 2, rel=1e-6)  # what disagrees in A is no matter of B
    assert fits["B"].warnings == ()


def test_one_point_that_an_area_cannot_do_without_disagrees_with_the_others():
    """P1 and P3 are at one place, so that without P2 nothing says how the area is turned. P2 is 25 mm off along the line: of the
    three, 25 x 2/3 mm are left to it, with the sigma 3 sqrt(2/3) mm.
    """
    local = np.array([[0.0, 0.0], [1.2, 0.0], [0.0, 0.0]])
    fit = fit_areas([area("A", [(0.0, 0.0), (0.025, 0.0), (0.0, 0.0)], local=local)]).fits["A"]
    assert all(point.used for point in fit.points)
    assert "control point P2 disagrees with the others by 17 mm, 6.8 sigma" in fit.warnings[-1]


def test_a_tie_that_two_areas_contradict_is_left_out():
    """The tie differs by 60 mm from what the corners of both say; its sigma and that of the middle of each area count."""
    tie = Tie("T", ("A", "B"), ((0.6, 0.5), (0.6, 0.56)), 0.002)
    found = fit_areas([area("A", 0 * PURE), area("B", 0 * PURE)], Observations((tie,)))
    sigma = np.sqrt(0.002**2 + 2 * SIGMA**2 / 4)
    assert (
        f"The tie T (A and B) is left out, because it differs by 60 mm ({0.06 / sigma:.1f} sigma)" in found.warnings[0]
    )
    assert found.degrees_of_freedom == 10
    assert [fit.warnings for fit in found.fits.values()] == [(), ()]


@pytest.mark.parametrize("size", [3, 4])
@pytest.mark.parametrize("handed", [-1.0, 1.0])
def test_the_covariance_is_moved_to_the_place_that_is_known_best(size, handed):
    """There position and rotation do not correlate (where rotation and scale do not, as from control points alone), and every
    other place keeps the covariance that it had.
    """
    root = np.random.default_rng(size).normal(size=(size, size))
    covariance, centre = root @ root.T, np.array([0.4, 0.7])
    covariance[2, 3:] = covariance[3:, 2] = 0.0
    rotation, scale = 0.7, 1.3 if size == 4 else 1.0
    offset, moved = _best_known(rotation, scale, handed, covariance)
    assert moved[:2, 2] == pytest.approx([0.0, 0.0], abs=1e-12)
    before, after = (
        AreaFit("A", FITTED, rotation, np.zeros(2), handed < 0, place, values, scale=scale)
        for place, values in ((centre, covariance), (centre + offset, moved))
    )
    anywhere = [(0.0, 0.0), (2.0, -1.0), tuple(centre)]
    assert after.covariance_at(anywhere) == pytest.approx(before.covariance_at(anywhere), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("surface", ["top", "soffit"])
def test_an_area_without_a_place_keeps_its_side(surface):
    lone = replace(area("A", 0 * PURE[:1], local=CORNERS[:1]), surface=surface)
    fit = fit_areas([lone]).fits["A"]
    assert not fit.is_fitted
    assert fit.mirrored == (surface == "soffit")
    assert [point.used for point in fit.points] == [False]
