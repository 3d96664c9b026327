"""Simulation-based calibration: farms drawn from the forecast's own prior, so that every quantile must be right.

Talts et al. 2018, arXiv:1804.06788. It checks the inference, not the laws: simulated fronts ask that harder question.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import usual_pace
from growth import ForecastSettings, Series, forecast
from growth.bodies import BODIES, days_at, share_at
from growth.gather import Group
from growth.priors import law_prior

Array = NDArray[np.floating[Any]]

_LEVELS = (0.2, 0.4, 0.6, 0.8)
# How far the truth is off the law at the end, as the forecast takes it: parts of the last stretch and all days, skew.
_LAST_SPREAD, _WHOLE_SPREAD, _SKEW = 0.25, 0.02, 0.3
_NOISE = 0.02


def drawn_farm(
    law: str, seed: int, batches: int = 6, vessels: int = 10, finished: int = 3
) -> list[tuple[Series, float, bool]]:
    """Vessels of one farm drawn from the prior of one law: readings, true day of 99 %, whether it is still running."""
    rng = np.random.default_rng(seed)
    body = BODIES[law]
    pace, _ = usual_pace("block", "oyster", "straw")
    prior = law_prior(body, [Group("block", "oyster", "straw", pace, "")], 99.0)
    group = rng.multivariate_normal(prior.mean[0], 0.3 * prior.covariance)
    farm = []
    for batch in range(batches):
        centre = rng.multivariate_normal(group, prior.between)
        for vessel in range(vessels):
            theta = rng.multivariate_normal(centre, prior.within)[None]
            day = float(days_at(body, 0.99, theta)[0])
            stretch = day - float(days_at(body, 0.95, theta)[0])
            live = batch >= finished
            end = float(days_at(body, rng.uniform(0.1, 0.92), theta)[0]) if live else 1.2 * day
            days = np.arange(0.3, max(end, 1.5), max(1.0, day / 25))
            readings = _erring(share_at(body, days[None], theta)[0], rng)
            series = Series(f"{batch}.{vessel}", "block", "oyster", "straw", f"b{batch}", _plain(days), *readings)
            slip = float(np.hypot(_LAST_SPREAD * stretch, _WHOLE_SPREAD * day))
            farm.append((series, day + slip * float(np.expm1(_SKEW * rng.standard_normal())) / _SKEW, live))
    return farm


def _erring(share: Array, rng: np.random.Generator) -> tuple[tuple[float, ...], ...]:
    seen = np.clip(share + _error(share) * rng.standard_normal(len(share)), 0, 1)
    low, high = np.maximum(seen - 1.2816 * _error(seen), 0), np.minimum(seen + 1.2816 * _error(seen), 1)
    return _plain(100 * seen), _plain(100 * low), _plain(100 * high)


def _error(share: Array) -> Array:
    return np.asarray(_NOISE * (0.3 + 0.7 * np.sqrt(4 * share * (1 - share))))


def _plain(values: Array) -> tuple[float, ...]:
    return tuple(map(float, values))


def rank_counts(law: str, seeds: Iterable[int]) -> NDArray[np.intp]:
    """How often the truth of a running vessel falls between neighbouring 10 % quantiles: ten counts."""
    ranks: list[int] = []
    for seed in seeds:
        farm = drawn_farm(law, seed)
        series = [s for s, _, _ in farm]
        runs = [forecast(series, settings=ForecastSettings(laws=(law,), interval=i, curve=False)) for i in _LEVELS]
        for row, (_, day, live) in enumerate(farm):
            ends = [end for run in runs for end in (run[row].through_low, run[row].through_high)]
            known = sorted(end for end in (*ends, runs[0][row].through_median) if end is not None)
            if live and len(known) == 2 * len(_LEVELS) + 1:
                ranks.append(int(np.searchsorted(known, day)))
    return np.bincount(ranks, minlength=10)
