"""Robust statistics against scipy, a general optimizer and hand calculation."""

from statistics import NormalDist

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import median_abs_deviation

from inslab.processing.common import robust
from inslab.processing.common.robust import HUBER_SIGMAS, MAD_TO_SIGMA, fit_polynomial, huber_weights, robust_sigma


def test_the_factor_makes_the_median_deviation_a_standard_deviation():
    assert pytest.approx(1 / NormalDist().inv_cdf(0.75), abs=5e-5) == MAD_TO_SIGMA


@pytest.mark.parametrize("seed", range(3))
def test_scatter_as_in_scipy(seed):
    values = np.random.default_rng(seed).normal(3.0, 0.2, 101)
    expected = median_abs_deviation(values, scale="normal")
    assert robust_sigma(values - np.median(values)) == pytest.approx(expected, rel=3e-5)


def test_missing_and_wild_values_hardly_count():
    assert robust_sigma(np.array([-1.0, 2.0, np.nan, 3.0])) == pytest.approx(2 * MAD_TO_SIGMA)
    assert robust_sigma(np.array([-1.0, 2.0, 1e9])) == pytest.approx(2 * MAD_TO_SIGMA)


def test_weights_by_hand():
    assert huber_weights(np.array([0.0, -0.5, 1.0, -4.0]), 1.0).tolist() == [1.0, 1.0, 1.0, 0.25]


@pytest.mark.parametrize("degree", [0, 1, 2])
def test_the_fit_minimises_hubers_loss(monkeypatch, degree):
    """At the sigma that it found, against a general optimizer on Huber's own function (Huber and Ronchetti, 2009)."""
    monkeypatch.setattr(robust, "PASSES", 60)
    random = np.random.default_rng(degree)
    x = np.linspace(-1.0, 1.0, 40)
    values = 0.3 + 0.2 * x + random.normal(0, 0.01, len(x))
    values[::9] += 0.2
    weight = random.uniform(0.5, 1.0, len(x))
    found, _, sigma = fit_polynomial(x, values, weight, degree, 1e-6)
    limit = HUBER_SIGMAS * sigma

    def loss(coefficients):
        off = np.abs(values - np.polyval(coefficients, x))
        return np.sum(weight * np.where(off <= limit, off**2 / 2, limit * (off - limit / 2))) / sigma**2

    best = minimize(loss, found + 0.01, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 5000})
    assert found == pytest.approx(best.x, abs=2e-6)


def test_without_wild_values_it_is_weighted_least_squares():
    """Covariance too: that of numpy's fit, whose weights multiply residuals, for errors of a known size."""
    random = np.random.default_rng(3)
    x, weight = np.linspace(-1.0, 1.0, 30), random.uniform(0.5, 1.0, 30)
    weight = weight / weight.max()
    values = 1.0 - 0.5 * x + 1e-3 * np.sign(np.sin(37 * x))
    found, covariance, sigma = fit_polynomial(x, values, weight, 1, 0.02)
    expected, unscaled = np.polyfit(x, values, 1, w=np.sqrt(weight), cov="unscaled")
    assert sigma == 0.02  # never less than asked
    assert found == pytest.approx(expected)
    assert covariance == pytest.approx(0.02**2 * unscaled)


def test_what_is_not_finite_or_has_no_weight_is_left_out_and_the_degree_follows():
    x, values = np.arange(4.0), np.array([1.0, np.nan, 9.0, 1.0])
    found, _, _ = fit_polynomial(x, values, np.array([1.0, 1.0, 0.0, 1.0]), 2, 1e-3)
    assert found == pytest.approx([0.0, 1.0], abs=1e-12)
