"""Detect stalls: growth that has stopped well short, judged by the vessel's own past and by its batch.

Two hypotheses are compared by their evidence: the law itself, and the same law that stops at a ceiling.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.fit.pooled import LawFit
from growth.fit.sampling import Gaussian, Readings, combined, explore, site
from growth.laws import GrowthLaw, share_at

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_ROUNDS = (256, 256, 256)
_CEILING_LOGIT, _CEILING_SPREAD = 0.0, 1.1  # ceilings from about 10 to 90 %
_HIGHEST = 0.93  # share; a ceiling above it is a slow last corner, not a stall
_MISSED = 0.08  # by how much growth without a ceiling must exceed it at the last reading
_ODDS = 0.05  # share of vessels that stall sooner or later (common practice, no source)
_SURE = 0.4
_FEWEST = 4
# Between two equal readings there may be a shake that no photo shows, so a stall needs three readings.
_SHOWN_BY = 3
_FELL = 1.5  # standard deviations by which a reading must be lower than the one before to count as a drop
_NEAR, _NEAR_DEVIATIONS = 0.06, 2.5
_LOWEST = 0.08
_ALL_BUT_THROUGH = 0.98  # share; a vessel with such readings is not judged
_SLOWED = 0.25  # part of its own fastest rise below which growth looks stopped


@dataclass(frozen=True)
class Stalls:
    """For each phase the probability that it has stalled, and the share (0-1) at which."""

    probability: Array
    ceiling: Array

    @property
    def is_stalled(self) -> NDArray[np.bool_]:
        """True for phases that are called stalled."""
        return self.probability >= _SURE


def look_flat(readings: Readings) -> NDArray[np.bool_]:
    """True for phases whose last four readings rise far less than before; they stay out of the pool until judged."""
    flat = np.zeros(len(readings.days), dtype=bool)
    counts = readings.weight.sum(axis=1).astype(int)
    for row in np.flatnonzero(counts > _FEWEST):
        n = counts[row]
        day, share = readings.days[row, :n], readings.share[row, :n]
        pair_day, pair = 0.5 * (day[1:] + day[:-1]), 0.5 * (share[1:] + share[:-1])
        gain, taken = pair[2:] - pair[:-2], np.maximum(pair_day[2:] - pair_day[:-2], 1e-6)
        expected = (gain[:-1] / taken[:-1]).max() * taken[-1]
        level = float(np.median(share[-3:]))
        noise = 2.0 * float(readings.spread[row, n - 4 : n].mean())
        flat[row] = gain[-1] < min(_SLOWED * expected, noise) and _LOWEST < level < _HIGHEST
    return flat


def judge_stalls(fit: LawFit, growing: Array, rows: Index) -> Stalls:
    """Judge the phases ``rows``. ``growing`` (P,): log evidence that each is growing. ``fit``: gives their priors."""
    n, readings = len(growing), fit.farm.readings
    stalls = Stalls(np.zeros(n), np.full(n, np.nan))
    rows = rows[(readings.weight[rows].sum(axis=1) >= _FEWEST) & (_last_level(readings)[rows] < _ALL_BUT_THROUGH)]
    if len(rows) == 0:
        return stalls
    prior = _with_ceiling(fit.prior[0][rows], fit.prior[1][rows])
    chosen = readings.take(rows)
    guide = prior
    for n_points in _ROUNDS:
        draws, seen = explore(_capped(fit.law), chosen, prior, guide, n_points, fit.wrong_share)
        guide = combined(site(seen, prior), prior)
    weight = np.exp(draws.log_weight)
    ceiling = 1.0 / (1.0 + np.exp(-draws.theta[..., 3]))
    last = np.where(chosen.weight > 0, chosen.days, -np.inf).max(axis=1)
    free = _uncapped(fit.law, last, draws.theta)
    stopped = (free >= ceiling + _MISSED) & (ceiling < _HIGHEST)
    odds = (
        np.log(_ODDS) + draws.log_evidence + np.log(np.maximum((weight * stopped).sum(axis=1), 1e-30)) - growing[rows]
    )
    stalls.probability[rows] = 1.0 / (1.0 + np.exp(-np.clip(odds, -500, 500)))
    held = weight * stopped
    stalls.ceiling[rows] = (held * ceiling).sum(axis=1) / np.maximum(held.sum(axis=1), 1e-30)
    shown = np.minimum(_on_level(chosen, stalls.ceiling[rows]), _since_fall(chosen))
    stalls.probability[rows[(shown < _SHOWN_BY) | (stalls.ceiling[rows] < _LOWEST)]] = 0.0
    return stalls


def _on_level(readings: Readings, ceiling: Array) -> Array:
    """Number (R,) of the last four readings at the ceiling or above, within their error."""
    reach = np.maximum(_NEAR, _NEAR_DEVIATIONS * readings.spread)
    place = readings.weight.sum(axis=1)[:, None] - np.arange(readings.days.shape[1])
    last = (place >= 1) & (place <= _FEWEST)
    return np.asarray(((readings.share >= ceiling[:, None] - reach) & last).sum(axis=1))


def _since_fall(readings: Readings) -> Array:
    """Number (R,) of readings since the last drop, the lower one included: a drop may be a shake."""
    error = np.hypot(readings.spread[:, 1:], readings.spread[:, :-1])
    fell = (readings.share[:, :-1] - readings.share[:, 1:] > _FELL * error) & (readings.weight[:, 1:] > 0)
    place = np.where(fell, np.arange(1, readings.days.shape[1]), 0)
    return np.asarray(readings.weight.sum(axis=1) - place.max(axis=1, initial=0))


def _last_level(readings: Readings) -> Array:
    """Middle of the last three readings (P,); 0 where there are fewer."""
    level = np.zeros(len(readings.days))
    counts = readings.weight.sum(axis=1).astype(int)
    for n in np.unique(counts[counts >= 3]):
        rows = counts == n
        level[rows] = np.median(readings.share[rows, n - 3 : n], axis=1)
    return level


def _with_ceiling(mean: Array, covariance: Array) -> Gaussian:
    mean, covariance = mean.copy(), covariance.copy()
    mean[:, 3] = _CEILING_LOGIT
    covariance[:, 3, :] = covariance[:, :, 3] = 0.0
    covariance[:, 3, 3] = _CEILING_SPREAD**2
    return mean, covariance


def _free(theta: Array) -> Array:
    free = theta.copy()
    free[..., 3] = 0.0
    return free


def _uncapped(law: GrowthLaw, day: Array, theta: Array) -> Array:
    return share_at(law, day[:, None, None], _free(theta))[..., 0]


def _capped(law: GrowthLaw) -> Callable[[Array, Array], Array]:
    def share(days: Array, theta: Array) -> Array:
        ceiling = 1.0 / (1.0 + np.exp(-theta[..., 3, None]))
        return np.minimum(share_at(law, days, _free(theta)), ceiling)

    return share
