"""Placing one area by its control points: properties that any rigid least-squares fit must have."""

from dataclasses import replace

import numpy as np
import pytest
from site_fits import fit_area

from inslab.processing.site.fit import fit_areas
from inslab.processing.survey.model import ControlPoint, ScanArea

SQUARE = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0]])


def turned(local, angle, shift, mirrored=False):
    """Written out apart from the product's own frame, so that the two can disagree."""
    y = -local[:, 1] if mirrored else local[:, 1]
    cos, sin = np.cos(angle), np.sin(angle)
    return np.column_stack([cos * local[:, 0] - sin * y + shift[0], sin * local[:, 0] + cos * y + shift[1]])


def area_of(local, site, sigma=0.003, surface="top", area_id="A"):
    sigmas = np.broadcast_to(sigma, len(local))
    points = tuple(
        ControlPoint(area_id, f"P{n}", tuple(here), tuple(there), float(s))
        for n, (here, there, s) in enumerate(zip(local, site, sigmas), 1)
    )
    return ScanArea(area_id, "L1", surface, 0.06, 1500.0, control_points=points)


@pytest.mark.parametrize("surface", ["top", "soffit", "wall"])
@pytest.mark.parametrize("angle", [0.0, 0.4, 3.0, -2.2])
def test_exact_points_give_the_motion_back_without_residuals(surface, angle):
    site = turned(SQUARE, angle, (112.4, -48.7), mirrored=surface == "soffit")
    fit = fit_area(area_of(SQUARE, site, surface=surface))
    assert fit.is_fitted
    assert fit.warnings == ()
    assert fit.mirrored == (surface == "soffit")
    assert np.angle(np.exp(1j * (fit.rotation_rad - angle))) == pytest.approx(0.0, abs=1e-12)
    assert fit.shift_m == pytest.approx([112.4, -48.7], abs=1e-10)
    assert fit.worst_residual_m < 1e-10
    assert fit.sigma0 < 1e-6
    anywhere = np.array([[0.3, 0.9], [-2.0, 5.0]])
    assert fit.to_site(anywhere) == pytest.approx(
        turned(anywhere, angle, (112.4, -48.7), surface == "soffit"), abs=1e-10
    )
    assert fit.to_local(fit.to_site(anywhere)) == pytest.approx(anywhere, abs=1e-10)


def test_a_soffit_is_seen_from_below():
    """Standing under the slab and looking up with y away from oneself, x to the right is x to the left on the plan."""
    site = np.array([[10.0, 5.0], [8.8, 5.0], [8.8, 6.0], [10.0, 6.0]])
    fit = fit_area(area_of(SQUARE, site, surface="soffit"))
    assert fit.worst_residual_m < 1e-10
    left, right = fit.to_site([[0.1, 0.5], [0.9, 0.5]])
    assert right[0] < left[0]
    assert right[1] == pytest.approx(left[1])


def test_residuals_do_not_change_when_the_whole_site_is_turned_and_shifted():
    rng = np.random.default_rng(1)
    site = turned(SQUARE, 0.7, (20.0, 30.0)) + rng.normal(0, 0.003, SQUARE.shape)
    first = fit_area(area_of(SQUARE, site))
    second = fit_area(area_of(SQUARE, turned(site, 1.1, (-500.0, 80.0))))
    lengths = [[point.residual_length_m for point in fit.points] for fit in (first, second)]
    assert lengths[0] == pytest.approx(lengths[1], abs=1e-11)
    assert first.sigma0 == pytest.approx(second.sigma0)


def test_redundancy_numbers_sum_to_the_degrees_of_freedom():
    site = turned(SQUARE, 0.7, (20.0, 30.0))
    fit = fit_area(area_of(SQUARE, site, sigma=[0.002, 0.003, 0.005, 0.004]))
    assert fit.degrees_of_freedom == 5
    assert sum(point.redundancy.sum() for point in fit.points) == pytest.approx(5.0)


def test_stated_sigma_matches_the_scatter_of_many_surveys():
    rng = np.random.default_rng(7)
    true = turned(SQUARE, 0.3, (5.0, 6.0))
    sigma = np.array([0.002, 0.004, 0.003, 0.003])
    corner = np.array([[1.5, 1.5]])
    areas = [
        area_of(SQUARE, true + rng.normal(size=(4, 2)) * sigma[:, None], sigma, area_id=f"A{n}") for n in range(500)
    ]
    fits = fit_areas(areas).fits.values()
    errors = np.array([(fit.to_site(corner) - turned(corner, 0.3, (5.0, 6.0)))[0] for fit in fits])
    stated = np.array([fit.sigma_at(corner)[0] for fit in fits])
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(np.sqrt(np.mean(stated**2)), rel=0.06)


def test_uncertainty_grows_away_from_the_control_points():
    fit = fit_area(area_of(SQUARE, turned(SQUARE, 0.3, (5.0, 6.0))))
    near, far = fit.sigma_at([[0.6, 0.5], [5.0, 0.5]])
    assert near == pytest.approx(0.003 / 2)  # mean of four points of 3 mm
    assert far > 3 * near


def test_a_blunder_is_named_and_the_fit_is_that_of_the_other_points():
    site = turned(SQUARE, 0.3, (5.0, 6.0))
    site[2] += (0.03, 0.0)
    fit = fit_area(area_of(SQUARE, site))
    assert [point.used for point in fit.points] == [True, True, False, True]
    assert fit.points[2].residual_m == pytest.approx([-0.03, 0.0], abs=1e-9)
    assert "P3 is left out, because it lies 30 mm" in fit.warnings[-1]
    others = fit_area(area_of(np.delete(SQUARE, 2, 0), np.delete(site, 2, 0)))
    assert fit.shift_m == pytest.approx(others.shift_m, abs=1e-9)
    assert fit.sigma_xy_m == pytest.approx(others.sigma_xy_m, rel=1e-6)


def test_two_points_that_disagree_stay_in_and_widen_the_uncertainty():
    site = turned(SQUARE, 0.3, (5.0, 6.0))[:2]
    good = fit_area(area_of(SQUARE[:2], site, sigma=0.002))
    bad = fit_area(area_of(SQUARE[:2], site + np.array([[0.0, 0.0], [0.02, 0.006]]), sigma=0.002))
    assert all(point.used for point in bad.points)
    assert "P1 and P2 disagree" in bad.warnings[-1]
    assert bad.sigma_xy_m > 2 * good.sigma_xy_m


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda local, site: (local[:0], site[:0]), "no usable control point"),
        (lambda local, site: (local[:1], site[:1]), "only one"),
        (lambda local, site: (local * 0 + 0.5, site), "coincide in the local grid"),
        (lambda local, site: (local, site * 0 + 0.5), "coincide in the site grid"),
        (lambda local, site: (local * 1000, site), "millimetres"),
        (lambda local, site: (local / 0.3048, site), "feet"),
        (lambda local, site: (local, site[[0, 2, 1, 3]]), "mixed up"),
        (lambda local, site: (local * [1, -1], site), "from below"),
    ],
)
def test_an_area_that_cannot_be_placed_says_why(change, words):
    fit = fit_area(area_of(*change(SQUARE, turned(SQUARE, 0.3, (5.0, 6.0)))))
    assert not fit.is_fitted
    assert fit.sigma_xy_m is None
    assert words in fit.warnings[-1]
    assert "Area A" in fit.warnings[-1]


def test_a_point_with_a_bad_number_is_named_and_the_rest_is_used():
    area = area_of(SQUARE, turned(SQUARE, 0.3, (5.0, 6.0)))
    first = replace(area.control_points[0], sigma_m=0.0)
    fit = fit_area(replace(area, control_points=(first, *area.control_points[1:])))
    assert fit.is_fitted
    assert [point.used for point in fit.points] == [False, True, True, True]
    assert "P1" in fit.warnings[0]


def test_a_small_significant_scale_is_a_warning():
    fit = fit_area(area_of(SQUARE * 10, turned(SQUARE * 10, 0.3, (5.0, 6.0)) * 1.004))
    assert fit.is_fitted
    assert "+0.40 %" in fit.warnings[0]
