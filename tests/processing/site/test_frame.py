"""The position of one area: there and back with a scale, its covariance by hand, and its residuals."""

import numpy as np
import pytest

from inslab.processing.site.frame import FITTED, AreaFit, PointFit

SHIFT = np.array([20.0, 30.0])


def test_there_and_back_with_a_scale_and_from_below():
    """A quarter turn: local x runs along site y, and local y along site x where it is seen from below."""
    fit = AreaFit("A", FITTED, np.pi / 2, SHIFT, mirrored=True, scale=1.004)
    assert fit.to_site([(1.0, 0.5)])[0] == pytest.approx([20.0 + 1.004 * 0.5, 30.0 + 1.004], abs=1e-12)
    assert fit.to_local([(20.502, 31.004)])[0] == pytest.approx([1.0, 0.5], abs=1e-12)


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_covariance_of_a_place_is_that_of_position_rotation_and_scale(mirrored):
    """At an arm (x, y) in the site grid: x' = x0 + k x - r k y and y' = y0 + k y + r k x, so with independent sigmas
    var x = s² + (k y s_r)² + (x s_k)², var y = s² + (k x s_r)² + (y s_k)² and cov = x y (s_k² - (k s_r)²).
    """
    position, turn, stretch, scale = 0.002, 0.0015, 0.0008, 1.1
    covariance = np.diag([position, position, turn, stretch]) ** 2
    fit = AreaFit(
        "A", FITTED, 0.0, SHIFT, mirrored, centroid_m=np.array([1.0, 1.0]), covariance=covariance, scale=scale
    )
    x, y = 3.0, -2.0 if mirrored else 2.0
    expected = [
        [position**2 + (scale * y * turn) ** 2 + (x * stretch) ** 2, x * y * (stretch**2 - (scale * turn) ** 2)],
        [x * y * (stretch**2 - (scale * turn) ** 2), position**2 + (scale * x * turn) ** 2 + (y * stretch) ** 2],
    ]
    assert fit.covariance_at([(4.0, 3.0)])[0] == pytest.approx(np.array(expected), rel=1e-12)
    assert fit.sigma_at([(4.0, 3.0)])[0] == pytest.approx(np.sqrt(np.trace(expected) / 2), rel=1e-12)
    assert fit.sigma_xy_m == pytest.approx(position)


def test_residuals_are_summed_over_the_points_that_were_used():
    """3-4-5 and 6-8-10 triangles; a point that was left out does not count."""
    points = (
        PointFit("P1", True, np.array([0.003, -0.004])),
        PointFit("P2", True, np.array([-0.006, 0.008])),
        PointFit("P3", False, np.array([0.05, 0.0])),
    )
    fit = AreaFit("A", FITTED, points=points)
    assert fit.worst_residual_m == pytest.approx(0.010)
    assert fit.rms_residual_m == pytest.approx(np.sqrt((0.005**2 + 0.010**2) / 2))
    assert AreaFit("A", FITTED, points=points[2:]).rms_residual_m is None
    assert AreaFit("A", FITTED).worst_residual_m is None
