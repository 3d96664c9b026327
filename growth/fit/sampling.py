"""Posterior of each vessel's four parameters, for many vessels at once, by adaptive importance sampling.

The points are a fixed quasi-random set, so results are the same from run to run. The weights are exact for the given
likelihood and prior (up to single precision); Gaussians only decide where points are placed.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Gaussian = tuple[Array, Array]  # mean (V, 4) and covariance (V, 4, 4)

_PRIOR_SHARE = 0.25  # of the points are drawn from the prior, so that a second mode is not lost
_INFLATION = 1.3  # of the standard deviations of the guided points
_EFFECTIVE = 12.0  # effective number of points below which the weights are flattened
_SHARPEST = 1e5  # precision of a site, in units of the prior's: keeps 4x4 inverses sound
_CELLS = 1 << 18  # of (vessels, points, readings) held at once: they should stay in the processor's cache


@dataclass(frozen=True)
class Readings:
    """Readings of V vessels, padded to (V, N): days since the phase began, share 0-1, standard deviation of the share.

    ``weight`` is 1 for a reading and 0 for padding. ``clipped`` is True where the reading is 0 or 1, so that its error
    is one-sided; ``judged`` where it has no bounds of its own.
    """

    days: Array
    share: Array
    spread: Array
    weight: Array
    clipped: NDArray[np.bool_]
    judged: NDArray[np.bool_]

    def take(self, rows: NDArray[np.intp] | slice) -> "Readings":
        """The same for some vessels, padding cut to the longest of them."""
        n = max(int(self.weight[rows].sum(axis=1).max(initial=0.0)), 1)
        return Readings(*(getattr(self, field.name)[rows, :n] for field in fields(self)))

    def with_judged_spread(self, factor: float) -> "Readings":
        """The same with the spread of judged readings multiplied."""
        return replace(self, spread=np.where(self.judged, factor, 1.0) * self.spread)


@dataclass(frozen=True)
class Draws:
    """Weighted points of each vessel: ``theta`` (V, S, 4), normalised log weights (V, S), log evidence (V,)."""

    theta: Array
    log_weight: Array
    log_evidence: Array


ShareAt = Callable[[Array, Array], Array]


def explore(
    share_at: ShareAt, readings: Readings, prior: Gaussian, guide: Gaussian, n_points: int, wrong_share: float
) -> tuple[Draws, Gaussian]:
    """Weighted points of each vessel, ``n_points`` (a power of two) each, and the mean and covariance they amount to.

    Points come from the prior and, more of them, from the widened ``guide``; they are weighted by prior times
    likelihood over the mixture of the two (balance heuristic, Veach & Guibas 1995).
    """
    wide = (guide[0], guide[1] * _INFLATION**2)
    parts, seen = [], []
    step = max(int(_CELLS / (n_points * readings.days.shape[1])), 1)
    for start in range(0, len(prior[0]), step):
        rows = slice(start, start + step)
        sources = [(mean[rows], covariance[rows]) for mean, covariance in (prior, wide)]
        draws = _draw(share_at, readings.take(rows), sources[0], sources[1], n_points, wrong_share)
        parts.append(draws)
        seen.append(_moments(draws))
    joined = Draws(
        *(np.concatenate([getattr(d, name) for d in parts]) for name in ("theta", "log_weight", "log_evidence"))
    )
    return joined, (np.concatenate([m for m, _ in seen]), np.concatenate([c for _, c in seen]))


def _draw(
    share_at: ShareAt, readings: Readings, prior: Gaussian, wide: Gaussian, n_points: int, wrong_share: float
) -> Draws:
    normal, n_prior = _normal_points(n_points), int(_PRIOR_SHARE * n_points)
    theta = _by_number(np.concatenate([_placed(normal[:n_prior], prior), _placed(normal[n_prior:], wide)], axis=2))
    at_prior = log_gaussian(theta, prior)
    mixture = np.logaddexp(
        at_prior + np.float32(np.log(_PRIOR_SHARE)), log_gaussian(theta, wide) + np.float32(np.log(1.0 - _PRIOR_SHARE))
    )
    log_weight = log_likelihood(share_at, readings, theta, wrong_share) + at_prior - mixture
    top = log_weight.max(axis=1, keepdims=True)
    total = top + np.log(np.exp(log_weight - top).sum(axis=1, keepdims=True))
    return Draws(theta, log_weight - total, total[:, 0].astype(float) - np.log(n_points))


def log_likelihood(share_at: ShareAt, readings: Readings, theta: Array, wrong_share: float) -> Array:
    """Log likelihood (V, S) of points (V, S, 4): Gaussian errors, and ``wrong_share`` of readings plain wrong.

    A gross error may be anything from 0 to 1, so it has a constant cost and no effect on the fit. For a clipped one the
    Gaussian is replaced by its tail, to second order: ``ln Phi(-z) = ln 1/2 - sqrt(2/pi) z - z^2/pi``.
    """
    z = share_at(readings.days.astype(np.float32)[:, None, :], theta)
    first = np.where(readings.clipped, (2.0 / np.pi) ** 0.5, 0.0).astype(np.float32)
    second = np.where(readings.clipped, 1.0 / np.pi, 0.5).astype(np.float32)
    height = ((1.0 - wrong_share) / ((2.0 * np.pi) ** 0.5 * readings.spread)).astype(np.float32)
    z -= readings.share.astype(np.float32)[:, None, :]
    np.abs(z, out=z)
    z *= (1.0 / readings.spread).astype(np.float32)[:, None, :]
    cost = second[:, None, :] * z
    cost += first[:, None, :]
    cost *= z
    np.negative(cost, out=cost)
    density = np.exp(cost, out=cost)
    density *= height[:, None, :]
    density += wrong_share
    np.log(density, out=density)
    return np.asarray(np.matmul(density, readings.weight.astype(np.float32)[:, :, None])[:, :, 0])


def _moments(draws: Draws) -> Gaussian:
    """Mean and covariance of the points; weights are flattened until enough points count.

    ``_EFFECTIVE`` points must count (Kish's effective number); the flattening is a power of the weights found by
    bisection. It only matters in the first rounds, when the points do not yet lie where the readings point.
    """
    low, high, power = np.zeros(len(draws.theta)), np.ones(len(draws.theta)), np.ones(len(draws.theta))
    loose = np.arange(len(draws.theta))
    for _ in range(8):
        enough = _effective(draws.log_weight[loose] * power[loose, None].astype(np.float32)) >= _EFFECTIVE
        low[loose] = np.where(enough, power[loose], low[loose])
        high[loose] = np.where(enough, high[loose], power[loose])
        loose = loose[low[loose] < 1.0]
        if len(loose) == 0:
            break
        power[loose] = 0.5 * (low[loose] + high[loose])
    weight = np.exp(draws.log_weight * low[:, None].astype(np.float32))
    weight /= weight.sum(axis=1, keepdims=True)
    mean = np.matmul(weight[:, None, :], draws.theta)[:, 0]
    away = draws.theta - mean[:, None]
    covariance = np.swapaxes(away * weight[:, :, None], 1, 2) @ away
    return mean.astype(float), covariance.astype(float) + 1e-6 * np.eye(4)


def site(posterior: Gaussian, prior: Gaussian) -> Gaussian:
    """Information that the readings add to the prior: shift (V, 4) and precision (V, 4, 4).

    One-sided information (not begun yet, not through yet) moves the mean without making it narrower. Such a direction
    gets just enough precision that the site's mean stays within two prior standard deviations of the posterior's.
    """
    unroot = np.linalg.inv(np.linalg.cholesky(prior[1]))
    value, vector = np.linalg.eigh(unroot @ posterior[1] @ np.swapaxes(unroot, 1, 2))
    whiten = np.swapaxes(vector, 1, 2) @ unroot
    moved = np.einsum("vij,vj->vi", whiten, posterior[0] - prior[0])
    gain = np.clip(1.0 / np.maximum(value, 1e-8) - 1.0, 0.0, _SHARPEST)
    gain = np.maximum(gain, 0.5 * np.abs(moved))
    precision = np.swapaxes(whiten * gain[:, :, None], 1, 2) @ whiten
    shift = np.einsum("vij,vj->vi", precision, prior[0]) + np.einsum("vji,vj->vi", whiten, (1.0 + gain) * moved)
    return shift, precision


def combined(sites: Gaussian, prior: Gaussian) -> Gaussian:
    """Product of a prior and a site in information form: mean and covariance."""
    prior_precision = np.linalg.inv(prior[1])
    covariance = np.linalg.inv(prior_precision + sites[1])
    covariance = 0.5 * (covariance + np.swapaxes(covariance, 1, 2))
    mean = np.einsum("vij,vj->vi", covariance, np.einsum("vij,vj->vi", prior_precision, prior[0]) + sites[0])
    return mean, covariance


def log_gaussian(theta: Array, gaussian: Gaussian) -> Array:
    """Log density (V, S) of points (V, S, 4), single precision."""
    unroot = np.linalg.inv(np.linalg.cholesky(gaussian[1]))
    scale = np.log(np.diagonal(unroot, axis1=1, axis2=2)).sum(axis=1) - 2.0 * np.log(2.0 * np.pi)
    turn, centre = unroot.astype(np.float32), gaussian[0].astype(np.float32)
    away = [theta[..., i] - centre[:, i, None] for i in range(4)]
    square = np.zeros(theta.shape[:2], dtype=np.float32)
    for i in range(4):
        z = turn[:, i, 0, None] * away[0]
        for j in range(1, i + 1):
            z += turn[:, i, j, None] * away[j]
        square += z * z
    square *= np.float32(-0.5)
    return np.asarray(square + scale.astype(np.float32)[:, None])


@cache
def _normal_points(n: int) -> Array:
    """Quasi-random standard normal points (n, 4), shuffled so that any part of them is spread out too.

    ``n`` is a power of two up to 512. They are the first of SciPy's scrambled Sobol points (``qmc.Sobol(4)``), kept in
    a file: importing ``scipy.stats`` to make them would take longer than forecasting a shelf.
    """
    uniform = np.load(Path(__file__).with_name("sobol_points.npy"))[:n].astype(float)
    if len(uniform) < n:
        msg = f"no more than {len(uniform)} points are kept, not {n}"
        raise ValueError(msg)
    normal = np.vectorize(NormalDist().inv_cdf)(np.clip(uniform, 1e-7, 1 - 1e-7))
    return np.asarray(np.random.default_rng(20).permutation(normal), dtype=np.float32)


def normal_draws(mean: Array, covariance: Array, n: int) -> Array:
    """Quasi-random draws (V, n, 4) of Gaussians; ``n`` is a power of two."""
    return _by_number(_placed(_normal_points(n), (mean, covariance)))


def _placed(normal: Array, gaussian: Gaussian) -> Array:
    """Standard normal points (S, 4) turned into points of each Gaussian, (4, V, S): each number contiguous."""
    root, mean = np.linalg.cholesky(gaussian[1]).astype(np.float32), gaussian[0].astype(np.float32)
    theta = np.empty((4, len(mean), len(normal)), dtype=np.float32)
    for i in range(4):
        theta[i] = mean[:, i, None]
        for j in range(i + 1):
            theta[i] += root[:, i, j, None] * normal[None, :, j]
    return theta


def _by_number(theta: Array) -> Array:
    return np.moveaxis(theta, 0, -1)


def _effective(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    return np.asarray(weight.sum(axis=1) ** 2 / np.square(weight).sum(axis=1))
