"""Simple baselines: a line through the last readings, the vessel's own logistic, and the farm's past."""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from benchmarks.forecast.simulate import Truth
from growth.data import Series
from growth.fit import FittedLaw, fit_law

NONE_ERROR_DAYS, NONE_SCORE = 30.0, 60.0  # error charged for a missing forecast


def three_point_line(series: Series) -> float | None:
    """Day on which a line through the last three readings reaches 99 %."""
    if len(series.days) < 2:
        return None
    slope, level = np.polyfit(series.days[-3:], series.percent[-3:], 1)
    return None if slope <= 0.3 else float(max(series.days[-1], (99.0 - level) / slope))


def own_logistic(series: Series) -> float | None:
    """Day on which the vessel's own least-squares logistic reaches 99 %."""
    fit = fit_law("logistic", series.days, series.percent)
    if not isinstance(fit, FittedLaw):
        return None
    rate, lag = fit.values["percent_per_day"], fit.values["lag_days"]
    # inverse of the lag and rate form: t_p = lag + A/(4 mu) (2 + ln(p/(1-p))), Zwietering et al. 1990
    return float(max(series.days[-1], lag + 100.0 / (4.0 * rate) * (2.0 + np.log(99.0))))


def past_days(vessels: Sequence[tuple[Series, Truth]]) -> dict[tuple[str, str], list[float]]:
    """Days to colonised through of the farm's finished vessels, by kind and species."""
    past: dict[tuple[str, str], list[float]] = defaultdict(list)
    for series, truth in vessels:
        if truth.finished and truth.through_day is not None:
            past[series.kind, series.species].append(truth.through_day)
    return past
