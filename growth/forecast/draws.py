"""Joint draws of the days of readiness of a whole farm. Planning needs them, because medians do not add up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.data import ForecastSettings, Series
from growth.fit import FarmFit, Gathered, Sites, fit_farm, spread_parts, weighted_quantiles
from growth.forecast.farm_forecast import rest_days
from growth.laws import GROWTH_LAWS, days_at

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_STEP = 0.02  # step in a vessel's parameters, for the numerical slope of the log day


@dataclass(frozen=True)
class DayDraws:
    """Days since inoculation (V, D). Each column is one draw of the whole farm; NaN for a stalled vessel.

    through: colonised through. ready: also consolidated. Vessels are in the order of the series.
    """

    vessels: tuple[str, ...]
    through: Array
    ready: Array


def draw_days(series: Sequence[Series], *, settings: ForecastSettings | None = None, n_draws: int = 400) -> DayDraws:
    """Joint draws of the days whose medians and intervals ``forecast`` gives; the same from run to run.

    A vessel without readings stands for one to come. Vessels of a batch tend to be late or early together, and so do
    batches of one species on one substrate. A Gaussian copula reproduces this: its correlations are the shared parts of
    the variance of the log day, to first order.
    """
    settings = settings or ForecastSettings()
    if not series:
        none = np.zeros((0, n_draws))
        return DayDraws((), none, none)
    _, gathered, farm_fit = fit_farm(series, settings)
    current = np.flatnonzero(gathered.current)
    rows = current[np.argsort(gathered.vessel[current])]
    levels = _levels(gathered, farm_fit, rows, settings, n_draws)
    through = gathered.start_day[rows, None] + weighted_quantiles(
        farm_fit.through[rows], farm_fit.log_weight[rows], levels
    )
    through[farm_fit.stalls.is_stalled[rows]] = np.nan
    rest = np.array([rest_days(one, settings) for one in series])
    return DayDraws(tuple(one.vessel for one in series), through, through + rest[:, None])


def _levels(gathered: Gathered, farm_fit: FarmFit, rows: Index, settings: ForecastSettings, n_draws: int) -> Array:
    """Quantile levels (V, D) in (0, 1) of each vessel: evenly spread, and correlated within batch and group."""
    share = _variance_shares(gathered, farm_fit, settings)[rows]
    batch = gathered.farm.tree.batch_of_vessel[rows]
    group = gathered.farm.tree.group_of_batch[batch]
    chance = np.random.default_rng(20)
    normal = [chance.standard_normal((n, n_draws)) for n in (len(rows), len(gathered.batches), len(gathered.groups))]
    parts = (normal[0], normal[1][batch], normal[2][group])
    joint = sum(np.sqrt(share[:, [n]]) * part for n, part in enumerate(parts))
    rank = np.argsort(np.argsort(joint, axis=1), axis=1)
    return np.asarray((rank + 0.5) / n_draws)


def _variance_shares(gathered: Gathered, farm_fit: FarmFit, settings: ForecastSettings) -> Array:
    """Shares (P, 3) of the variance of each phase's log day due to the vessel, its batch and its group."""
    share = np.tile([1.0, 0.0, 0.0], (len(gathered.vessel), 1))
    best = farm_fit.weight.argmax(axis=1)
    for column, name in enumerate(farm_fit.laws):
        fit, rows = farm_fit.fits[name], farm_fit.rows[name]
        mine = np.flatnonzero(best[rows] == column)
        if not len(mine):
            continue
        sites = Sites(fit.sites[1], fit.sites[0], fit.pool_weight)
        parts = spread_parts(sites, fit.farm.tree, fit.pooled, fit.prior[1] - fit.pooled.covariance)
        weight = np.exp(fit.draws.log_weight[mine])
        mean = np.einsum("vs,vsi->vi", weight / weight.sum(axis=1, keepdims=True), fit.draws.theta[mine])
        slope = _log_day_slope(name, settings.through_percent / 100.0, mean.astype(float))
        found = np.stack([np.einsum("vi,vij,vj->v", slope, part[mine], slope) for part in parts], axis=1)
        found = np.maximum(found, 1e-12)
        share[rows[mine]] = found / found.sum(axis=1, keepdims=True)
    return share


def _log_day_slope(law: str, share: float, theta: Array) -> Array:
    """Slope (V, 4) of the log day at which ``share`` is reached, in each of a vessel's parameters."""
    steps = np.concatenate([np.eye(4), -np.eye(4)]) * _STEP
    log_day = np.log(np.maximum(days_at(GROWTH_LAWS[law], share, theta[:, None, :] + steps), 1e-3))
    return np.asarray((log_day[:, :4] - log_day[:, 4:]) / (2.0 * _STEP))
