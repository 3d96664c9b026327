"""Simulation-based calibration: on farms drawn from the forecast's own prior, every quantile must be right.

Talts et al. 2018, arXiv:1804.06788. It checks the inference, not the laws; the simulated fronts check those.
One vessel of each group is scored and groups are drawn independently, so the ranks are independent and a chi-square
on 9 degrees of freedom says whether they are even.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.forecast.score import forecast_with_quantiles
from calibration import usual_pace
from growth.data import ForecastSettings, Series
from growth.fit.arrays import Group
from growth.fit.phases import LAW_SPREAD
from growth.fit.priors import law_prior
from growth.laws.common_form import GROWTH_LAWS, GrowthLaw, days_at, share_at

Array = NDArray[np.floating[Any]]
Rng = np.random.Generator

_SUBSTRATE = "straw"
_OWN_ERROR = 0.02  # standard deviation of a reading at half colonised, according to its bounds
_FINISHED, _LIVE, _VESSELS = 2, 1, 4  # batches of a group, and vessels of a batch


def drawn_groups(law: str, seed: int, groups: int) -> tuple[list[Series], dict[int, float]]:
    """Vessels of independent groups drawn from the prior of one law, and the true days of 99 % of those to be scored.

    The day of the last reading of a live batch does not depend on its progress, as the forecast assumes.
    """
    rng, growth_law = np.random.default_rng(seed), GROWTH_LAWS[law]
    pace, _ = usual_pace("block", "", _SUBSTRATE)
    prior = law_prior(growth_law, [Group("block", "", _SUBSTRATE, pace, "")], 99.0)
    series: list[Series] = []
    scored: dict[int, float] = {}
    for number in range(groups):
        group = rng.multivariate_normal(prior.mean[0], prior.covariance)
        for batch in range(_FINISHED + _LIVE):
            centre = rng.multivariate_normal(group, prior.between)
            until = np.inf if batch < _FINISHED else rng.uniform(0.1, 0.9) * pace.through_days
            for vessel in range(_VESSELS):
                theta = rng.multivariate_normal(centre, prior.within)[None]
                name = Series(
                    f"{number}.{batch}.{vessel}", "block", f"strain {number}", _SUBSTRATE, f"{number}.{batch}"
                )
                one, day = _grown(name, growth_law, theta, until, rng)
                if batch >= _FINISHED and vessel == 0:
                    scored[len(series)] = day
                series.append(one)
    return series, scored


def _grown(name: Series, growth_law: GrowthLaw, theta: Array, until: float, rng: Rng) -> tuple[Series, float]:
    through = float(days_at(growth_law, 0.99, theta)[0])
    days = np.arange(0.3, min(until, 1.2 * through), max(1.0, through / 25))
    share = share_at(growth_law, days[None], theta)[0]
    error = np.hypot(_own_error(share), LAW_SPREAD * _room(share))
    seen = np.clip(share + error * rng.standard_normal(len(share)), 0, 1)
    wrong = rng.random(len(share)) < ForecastSettings().wrong_share
    seen = np.where(wrong, rng.random(len(share)), seen)
    reach = 1.2816 * _own_error(share)
    low, high = _plain(100 * np.maximum(seen - reach, 0)), _plain(100 * np.minimum(seen + reach, 1))
    return replace(name, days=_plain(days), percent=_plain(100 * seen), low=low, high=high), through


def _own_error(share: Array) -> Array:
    return np.asarray(_OWN_ERROR * (0.3 + 0.7 * _room(share)))


def _room(share: Array) -> Array:
    return np.asarray(np.sqrt(4 * share * (1 - share)))


def _plain(values: Array) -> tuple[float, ...]:
    return tuple(map(float, values))


def rank_counts(law: str, seeds: Iterable[int], groups: int = 50) -> NDArray[np.intp]:
    """How often the truth falls between neighbouring 10 % quantiles: ten counts over ``groups`` for each seed."""
    counts = np.zeros(10, dtype=np.intp)
    for seed in seeds:
        series, scored = drawn_groups(law, seed, groups)
        _, quantiles = forecast_with_quantiles(series, ForecastSettings(laws=(law,), curve=False))
        for row, day in scored.items():
            counts[int(np.searchsorted(quantiles[row], day))] += 1
    return counts
