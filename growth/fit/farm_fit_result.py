"""The fit of all laws to a farm: weighted draws, from which forecasts and paces are computed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.data import ForecastSettings
from growth.fit.law_average import weighted_quantiles
from growth.fit.pooled import LawFit
from growth.fit.sampling import Readings, normal_draws
from growth.fit.stall import Stalls
from growth.laws import GROWTH_LAWS, days_at, share_at, timing

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_NEWCOMERS = 512  # draws of a vessel to come, for the pace


@dataclass(frozen=True)
class FarmFit:
    """Draws of each phase (P), averaged over laws: days to through since the phase began, and what made them.

    laws: names; weight (P, L): of each law; through (P, D) with log_weight (P, D): draws of all laws side by side;
    even_theta (P, M, 4) and even_law (P, M): equal-weight draws. readings: with the spreads that were learned. rows:
    phases that each law was fitted to. law_shares (G, L): share of a group's vessels that follow each law.
    error_factor: factor on the spread of readings without bounds.
    """

    laws: tuple[str, ...]
    weight: Array
    through: Array
    log_weight: Array
    even_theta: Array
    even_law: Index
    readings: Readings
    stalls: Stalls
    fits: dict[str, LawFit]
    rows: dict[str, Index]
    law_shares: Array
    error_factor: float

    def quantiles(self, levels: Sequence[float]) -> Array:
        """Quantiles (P, Q) of the days to through since the phase began."""
        return weighted_quantiles(self.through, self.log_weight, np.asarray(levels))

    def share_draws(self, rows: Index, days: Array) -> Array:
        """Share colonised (R, M, N) of phases ``rows`` at ``days`` (R, N), over equal-weight draws."""
        theta, law = self.even_theta[rows], self.even_law[rows]
        each = np.broadcast_to(days[:, None, :], (*law.shape, days.shape[1]))
        share = np.zeros(each.shape)
        for number, name in enumerate(self.laws):
            chosen = law == number
            if chosen.any():
                share[chosen] = share_at(GROWTH_LAWS[name], each[chosen], theta[chosen])
        return share

    def lag_days(self, rows: Index) -> Array:
        """Median lag (R,) of phases ``rows``, days since the phase began."""
        lag = np.zeros(self.even_law[rows].shape)
        for number, name in enumerate(self.laws):
            chosen = self.even_law[rows] == number
            lag[chosen] = timing(GROWTH_LAWS[name], self.even_theta[rows][chosen])[0]
        return np.asarray(np.median(lag, axis=1))

    def newcomer_days(self, group: int, law_weight: Array, settings: ForecastSettings) -> tuple[float, float, float]:
        """(low, median, high) days to through of a vessel of a new batch in ``group``, before its first reading."""
        days, weights = [], []
        for name, share in zip(self.laws, law_weight, strict=True):
            if share <= 0:
                continue
            pooled = self.fits[name].pooled
            spread = pooled.group_covariance[group] + pooled.between[group] + pooled.within[group]
            theta = normal_draws(pooled.group_mean[group][None], spread[None], _NEWCOMERS)[0]
            days.append(days_at(GROWTH_LAWS[name], settings.through_percent / 100.0, theta))
            weights.append(np.full(_NEWCOMERS, np.log(share)))
        half = settings.interval / 2.0
        joined = np.concatenate(days)[None], np.concatenate(weights)[None]
        low, median, high = weighted_quantiles(*joined, np.array([0.5 - half, 0.5, 0.5 + half]))[0]
        return float(low), float(median), float(high)
