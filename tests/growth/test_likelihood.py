"""The likelihood, densities and quantiles of the fit against those of SciPy and NumPy."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from growth.fit import weighted_quantiles
from growth.fit.sampling import Readings, log_gaussian, log_likelihood

WRONG = 0.03


def likelihood(share: float, expected: float, spread: float, *, clipped: bool = False) -> float:
    """Likelihood of one reading under a law that predicts one share for any parameters."""
    flag = np.array([[clipped]])
    one = np.array([[1.0]])
    readings = Readings(one, np.array([[share]]), np.array([[spread]]), one, flag, ~flag)
    got = log_likelihood(
        lambda days, theta: np.full((1, 1, 1), expected, np.float32), readings, np.zeros((1, 1, 4)), WRONG
    )
    return float(got[0, 0])


@pytest.mark.parametrize("away", [0.0, 0.5, -1.5, 3.0, 8.0])
def test_the_error_of_a_reading_is_normal_with_a_share_of_outliers(away: float) -> None:
    spread = 0.05
    expected = np.log((1 - WRONG) * norm.pdf(0.5 + away * spread, 0.5, spread) + WRONG * 1.0)
    assert likelihood(0.5 + away * spread, 0.5, spread) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("away", [0.05, 0.1, 0.2])
def test_a_reading_at_the_limit_counts_as_the_tail_of_a_normal(away: float) -> None:
    """A reading of 100 % is a truth at or beyond it: Phi(-z) in place of the density, to second order."""
    spread = 0.05
    density = (1 - WRONG) * norm.pdf(0.0) / spread * norm.cdf(-away) / norm.cdf(0.0)
    got = likelihood(1.0, 1.0 - away * spread, spread, clipped=True)
    assert got == pytest.approx(np.log(density + WRONG), abs=6e-4)


def test_the_density_is_that_of_a_normal_in_four_dimensions() -> None:
    rng = np.random.default_rng(5)
    mean, root = rng.normal(size=4), rng.normal(size=(4, 4))
    covariance = root @ root.T + np.eye(4)
    points = rng.normal(size=(20, 4))
    got = log_gaussian(points[None].astype(np.float32), (mean[None], covariance[None]))[0]
    np.testing.assert_allclose(got, multivariate_normal(mean, covariance).logpdf(points), atol=1e-3)


def test_quantiles_of_equal_weights_are_hazens() -> None:
    """Hazen 1914, as in NumPy: the k-th of n values is the quantile (k - 1/2) / n."""
    values = np.random.default_rng(6).normal(size=(3, 11))
    levels = np.array([0.1, 0.33, 0.5, 0.9])
    got = weighted_quantiles(values, np.zeros_like(values), levels)
    np.testing.assert_allclose(got, np.quantile(values, levels, axis=1, method="hazen").T, atol=1e-12)


def test_a_value_of_double_weight_counts_twice_and_levels_may_differ_by_row() -> None:
    values = np.array([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]])
    log_weight = np.log([[1.0, 2.0, 1.0], [1.0, 1.0, 2.0]])
    got = weighted_quantiles(values, log_weight, np.array([[0.5], [0.75]]))
    np.testing.assert_allclose(got, [[2.0], [3.0]], atol=1e-12)
