"""Days of readiness as joint draws of a whole farm: what planning needs, since medians of vessels do not add up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.data import ForecastSettings, Series
from growth.fit import Gathered, Sites, Surveyed, spread_parts, survey_farm, weighted_quantiles
from growth.forecast.farm_forecast import rest_days
from growth.laws import GROWTH_LAWS, days_at

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_STEP = 0.02  # of a vessel's numbers, for the slope of the log day


@dataclass(frozen=True)
class DayDraws:
    """Days since inoculation (V, D): each column is one draw of the whole farm; NaN where a vessel has stalled.

    through: colonised through. ready: rested too. Vessels in the order of the series.
    """

    vessels: tuple[str, ...]
    through: Array
    ready: Array


def draw_days(series: Sequence[Series], *, settings: ForecastSettings | None = None, n_draws: int = 400) -> DayDraws:
    """Joint draws of the days that ``forecast`` tells medians and intervals of, the same from run to run.

    A vessel without readings is one to come. Vessels of a batch, and batches of a species on a substrate, are late or
    early together as far as that is what makes them unsure: draws are tied by a Gaussian copula whose correlations are
    the shared parts of the variance of the log day, to first order.
    """
    settings = settings or ForecastSettings()
    if not series:
        none = np.zeros((0, n_draws))
        return DayDraws((), none, none)
    _, gathered, surveyed = survey_farm(series, settings)
    current = np.flatnonzero(gathered.current)
    rows = current[np.argsort(gathered.vessel[current])]
    levels = _levels(gathered, surveyed, rows, settings, n_draws)
    through = gathered.start_day[rows, None] + weighted_quantiles(
        surveyed.through[rows], surveyed.log_weight[rows], levels
    )
    through[surveyed.stalls.told[rows]] = np.nan
    rest = np.array([rest_days(one, settings) for one in series])
    return DayDraws(tuple(one.vessel for one in series), through, through + rest[:, None])


def _levels(gathered: Gathered, surveyed: Surveyed, rows: Index, settings: ForecastSettings, n_draws: int) -> Array:
    """Levels (V, D) in (0, 1) of each vessel's own distribution, evenly spread and tied to those of its kin."""
    share = _variance_shares(gathered, surveyed, settings)[rows]
    batch = gathered.farm.tree.batch_of_vessel[rows]
    group = gathered.farm.tree.group_of_batch[batch]
    chance = np.random.default_rng(20)
    normal = [chance.standard_normal((n, n_draws)) for n in (len(rows), len(gathered.batches), len(gathered.groups))]
    parts = (normal[0], normal[1][batch], normal[2][group])
    joint = sum(np.sqrt(share[:, [n]]) * part for n, part in enumerate(parts))
    rank = np.argsort(np.argsort(joint, axis=1), axis=1)
    return np.asarray((rank + 0.5) / n_draws)


def _variance_shares(gathered: Gathered, surveyed: Surveyed, settings: ForecastSettings) -> Array:
    """Shares (P, 3) of the variance of each phase's log day that are its own, its batch's and its group's."""
    share = np.tile([1.0, 0.0, 0.0], (len(gathered.vessel), 1))
    best = surveyed.weight.argmax(axis=1)
    for column, name in enumerate(surveyed.laws):
        fit, rows = surveyed.fits[name], surveyed.rows[name]
        mine = np.flatnonzero(best[rows] == column)
        if not len(mine):
            continue
        sites = Sites(fit.sites[1], fit.sites[0], fit.voice)
        parts = spread_parts(sites, fit.farm.tree, fit.pooled, fit.prior[1] - fit.pooled.covariance)
        weight = np.exp(fit.draws.log_weight[mine])
        mean = np.einsum("vs,vsi->vi", weight / weight.sum(axis=1, keepdims=True), fit.draws.theta[mine])
        slope = _log_day_slope(name, settings.through_percent / 100.0, mean.astype(float))
        found = np.stack([np.einsum("vi,vij,vj->v", slope, part[mine], slope) for part in parts], axis=1)
        found = np.maximum(found, 1e-12)
        share[rows[mine]] = found / found.sum(axis=1, keepdims=True)
    return share


def _log_day_slope(law: str, share: float, theta: Array) -> Array:
    """Slope (V, 4) of the log day of ``share`` in each of a vessel's numbers."""
    steps = np.concatenate([np.eye(4), -np.eye(4)]) * _STEP
    log_day = np.log(np.maximum(days_at(GROWTH_LAWS[law], share, theta[:, None, :] + steps), 1e-3))
    return np.asarray((log_day[:, :4] - log_day[:, 4:]) / (2.0 * _STEP))
