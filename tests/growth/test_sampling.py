"""The sample points of the fit, checked with SciPy's measure of discrepancy."""

import numpy as np
import pytest
from scipy.stats import kstest, norm, qmc

from growth.fit.sampling import normal_draws


@pytest.mark.parametrize("n", [256, 512])
def test_points_are_standard_normal_and_have_a_lower_discrepancy_than_random_ones(n):
    """Kolmogorov-Smirnov in each dimension; centred discrepancy (Hickernell 1998) of the points mapped to a cube."""
    draws = normal_draws(np.zeros((1, 4)), np.eye(4)[None], n)[0].astype(float)
    assert draws.shape == (n, 4)
    assert min(kstest(column, "norm").pvalue for column in draws.T) > 0.99
    random = np.random.default_rng(0).random((n, 4))
    assert qmc.discrepancy(norm.cdf(draws)) < 0.1 * qmc.discrepancy(random)


def test_draws_have_the_given_mean_and_covariance():
    mean = np.array([[1.0, -2.0, 0.5, 3.0]])
    root = np.tril(np.arange(1.0, 17.0).reshape(4, 4)) / 8.0
    draws = normal_draws(mean, (root @ root.T)[None], 512)[0].astype(float)
    assert draws.mean(axis=0) == pytest.approx(mean[0], abs=0.05)
    assert np.cov(draws.T) == pytest.approx(root @ root.T, rel=0.1, abs=0.05)


def test_more_points_than_are_stored_are_refused():
    with pytest.raises(ValueError, match="no more than 512 points are kept, not 1024"):
        normal_draws(np.zeros((1, 4)), np.eye(4)[None], 1024)
