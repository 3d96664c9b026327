"""What one vessel's readings say about its four numbers, for many vessels at once, by adaptive importance sampling.

The points are a fixed quasi-random set, so results are the same from run to run. Arrays inside are (vessels, points,
readings); the weights are exact for the likelihood and prior given, the Gaussian only guides where points are put.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp
from scipy.stats import norm, qmc

Array = NDArray[np.float64]

_PRIOR_SHARE = 0.25  # of the points are drawn from the prior, so that a second mode is not lost
_INFLATION = 1.35  # of the standard deviations of the guided points
_SHARPEST = 1e5  # precision of a site, in units of the prior's: keeps 4x4 inverses sound
_CELLS = 1 << 21  # of (vessels, points, readings) held at once


@dataclass(frozen=True)
class Readings:
    """Readings of V vessels, padded to (V, N): days since the phase began, share 0-1, standard deviation of the share.

    ``weight`` is 1 for a reading and 0 for padding. ``clipped`` is True where the reading sits on 0 or 1, so that the truth
    lies at or beyond it as far as the error goes.
    """

    days: Array
    share: Array
    spread: Array
    weight: Array
    clipped: NDArray[np.bool_]

    def take(self, rows: NDArray[np.intp]) -> "Readings":
        """The same for some vessels, padding cut to the longest of them."""
        n = max(int(self.weight[rows].sum(axis=1).max(initial=0.0)), 1)
        return Readings(*(getattr(self, name)[rows, :n] for name in ("days", "share", "spread", "weight", "clipped")))


@dataclass(frozen=True)
class Draws:
    """Weighted points of each vessel: ``theta`` (V, S, 4), normalised log weights (V, S), log evidence (V,)."""

    theta: Array
    log_weight: Array
    log_evidence: Array


ShareAt = Callable[[Array, Array], Array]


def log_likelihood(share_at: ShareAt, readings: Readings, theta: Array, wrong_share: float) -> Array:
    """Log likelihood (V, S) of points ``theta`` (V, S, 4): Gaussian errors, and ``wrong_share`` of readings plain wrong.

    A wrong reading may be anything from 0 to 1, so it costs a constant and pulls nothing. For a clipped reading the
    Gaussian is replaced by its tail, to second order: ``ln Phi(-z) = ln 1/2 - sqrt(2/pi) z - z^2/pi``.
    """
    expected = share_at(readings.days[:, None, :], theta)
    z = np.abs(readings.share[:, None, :] - expected) / readings.spread[:, None, :]
    first = np.where(readings.clipped, np.sqrt(2.0 / np.pi), 0.0)[:, None, :]
    second = np.where(readings.clipped, 1.0 / np.pi, 0.5)[:, None, :]
    height = ((1.0 - wrong_share) / (np.sqrt(2.0 * np.pi) * readings.spread))[:, None, :]
    density = wrong_share + height * np.exp(-(first + second * z) * z)
    return np.einsum("vsn,vn->vs", np.log(density), readings.weight)


@cache
def _points(n: int) -> Array:
    """Quasi-random standard normal points (n, 4)."""
    sobol = qmc.Sobol(4, scramble=True, rng=np.random.default_rng(20)).random(n)
    points: Array = norm.ppf(np.clip(sobol, 1e-9, 1 - 1e-9))
    return points


def draw(
    share_at: ShareAt,
    readings: Readings,
    prior: tuple[Array, Array],
    guide: tuple[Array, Array],
    n_points: int,
    wrong_share: float,
) -> Draws:
    """Points of each vessel weighted by prior times likelihood.

    ``prior`` and ``guide`` are Gaussians: mean (V, 4) and covariance (V, 4, 4). Points come from a mixture of the prior and of
    the guide made wider, and are weighted by the mixture's density (balance heuristic, Veach & Guibas 1995).
    """
    theta, log_proposal = _propose(prior, guide, n_points)
    log_prior = _log_gaussian(theta, *prior)
    fits = np.empty(theta.shape[:2])
    n = readings.days.shape[1]
    step = max(int(_CELLS / (n_points * n)), 1)
    for start in range(0, len(theta), step):
        rows = np.arange(start, min(start + step, len(theta)))
        fits[rows] = log_likelihood(share_at, readings.take(rows), theta[rows], wrong_share)
    log_weight = fits + log_prior - log_proposal
    total = logsumexp(log_weight, axis=1)
    return Draws(theta, log_weight - total[:, None], total - np.log(n_points))


def _propose(prior: tuple[Array, Array], guide: tuple[Array, Array], n_points: int) -> tuple[Array, Array]:
    points = _points(n_points)
    n_prior = int(_PRIOR_SHARE * n_points)
    wide = (guide[0], guide[1] * _INFLATION**2)
    from_prior = prior[0][:, None, :] + points[None, :n_prior] @ np.swapaxes(_root(prior[1]), 1, 2)
    from_guide = wide[0][:, None, :] + points[None, n_prior:] @ np.swapaxes(_root(wide[1]), 1, 2)
    theta = np.concatenate([from_prior, from_guide], axis=1)
    share = n_prior / n_points
    log_proposal = np.logaddexp(
        np.log(share) + _log_gaussian(theta, *prior), np.log1p(-share) + _log_gaussian(theta, *wide)
    )
    return theta, log_proposal


def moments(draws: Draws, least_effective: float) -> tuple[Array, Array]:
    """Mean (V, 4) and covariance (V, 4, 4) of the points; weights are flattened until enough points count.

    ``least_effective`` points must count (Kish's effective number); the flattening is a power of the weights found by
    bisection. It only matters in the first rounds, when the points do not yet lie where the readings point.
    """
    low, high = np.zeros(len(draws.theta)), np.ones(len(draws.theta))
    power = np.ones(len(draws.theta))
    for _ in range(12):
        enough = _effective(draws.log_weight * power[:, None]) >= least_effective
        low, high = np.where(enough, power, low), np.where(enough, high, power)
        power = np.where(enough & (power >= 1.0), 1.0, 0.5 * (low + high))
    weight = np.exp(draws.log_weight * low[:, None])
    weight /= weight.sum(axis=1, keepdims=True)
    mean = np.einsum("vs,vsi->vi", weight, draws.theta)
    away = draws.theta - mean[:, None]
    covariance = np.swapaxes(away * weight[:, :, None], 1, 2) @ away
    return mean, covariance + 1e-6 * np.eye(4)


def site(mean: Array, covariance: Array, prior: tuple[Array, Array]) -> tuple[Array, Array]:
    """What the readings added to the prior, as a Gaussian in information form: precision (V, 4, 4) and shift (V, 4).

    One-sided news (not begun yet, not through yet) moves the mean without making it narrower; such a direction is given
    just enough precision that the site's own mean stays within two prior standard deviations of the posterior's.
    """
    root = _root(prior[1])
    unroot = np.linalg.inv(root)
    value, vector = np.linalg.eigh(unroot @ covariance @ np.swapaxes(unroot, 1, 2))
    moved = np.einsum("vji,vj->vi", vector, np.einsum("vij,vj->vi", unroot, mean - prior[0]))
    gain = np.clip(1.0 / np.maximum(value, 1e-8) - 1.0, 0.0, _SHARPEST)
    gain = np.maximum(gain, 0.5 * np.abs(moved))
    whiten = np.swapaxes(vector, 1, 2) @ unroot
    precision = np.swapaxes(whiten * gain[:, :, None], 1, 2) @ whiten
    shift = np.einsum("vij,vj->vi", precision, prior[0]) + np.einsum("vji,vj->vi", whiten, (1.0 + gain) * moved)
    return precision, shift


def _effective(log_weight: Array) -> Array:
    top = log_weight - log_weight.max(axis=1, keepdims=True)
    weight = np.exp(top)
    count: Array = weight.sum(axis=1) ** 2 / (weight**2).sum(axis=1)
    return count


def _root(covariance: Array) -> Array:
    return np.linalg.cholesky(covariance)


def _log_gaussian(theta: Array, mean: Array, covariance: Array) -> Array:
    """Log density (V, S) of points (V, S, 4)."""
    unroot = np.linalg.inv(_root(covariance))
    z = (theta - mean[:, None]) @ np.swapaxes(unroot, 1, 2)
    scale = np.log(np.diagonal(unroot, axis1=1, axis2=2)).sum(axis=1)
    square: Array = np.square(z).sum(axis=2)
    return -0.5 * square + scale[:, None] - 2.0 * np.log(2.0 * np.pi)
