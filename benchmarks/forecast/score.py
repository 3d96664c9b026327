"""Scores of a farm's forecasts against its truth, beside the baselines."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.forecast.baselines import NONE_ERROR_DAYS, NONE_SCORE, own_logistic, past_days, three_point_line
from benchmarks.forecast.interval_score import interval_score
from benchmarks.forecast.simulate import Truth
from growth.data import Forecast, ForecastSettings, Series
from growth.fit.farm_fit import fit_farm
from growth.forecast import forecast
from growth.forecast.farm_forecast import make_forecasts

_LEVELS = tuple(float(level) for level in np.arange(0.1, 0.95, 0.1))
_THIRDS = ((33.3, "young"), (66.7, "middle"), (101.0, "old"))
#: A stall counts as visible after this share of the time before it, and this many readings.
_LASTED, _SEEN = 0.25, 3
_LEVEL = 5.0  # points that readings on the level may be off the true percent, where no day of stopping is recorded
#: A drop counts as visible if the percent before it was at least this, and at most this share of it is left.
_LEVEL_BEFORE, _LEFT = 8.0, 0.6


@dataclass
class Tally:
    """Everything scored so far, over one or more farms. Rows are live vessels that became colonised through."""

    kinds: list[str] = field(default_factory=list)
    thirds: list[str] = field(default_factory=list)
    errors: dict[str, list[float]] = field(default_factory=dict)
    scores: dict[str, list[float]] = field(default_factory=dict)
    held: list[bool] = field(default_factory=list)
    late: list[bool] = field(default_factory=list)
    below: list[list[bool]] = field(default_factory=list)  # truth below the 10, 20 ... 90 % quantile
    stalled: int = 0
    stalled_told: int = 0
    stalled_plain: int = 0
    stalled_plain_told: int = 0
    false_stalls: int = 0
    behind: list[float | None] = field(
        default_factory=list
        # days after its batch, for each vessel reported as far behind; None: never colonised through
    )


def score_farm(vessels: Sequence[tuple[Series, Truth]], tally: Tally) -> None:
    """Forecast all vessels of one farm together and add their scores to ``tally``."""
    series = [s for s, _ in vessels]
    forecasts, quantiles = forecast_with_quantiles(series)
    past = past_days(vessels)
    for row, (one, truth) in enumerate(vessels):
        said = forecasts[row]
        if truth.finished:
            continue
        if said.days_behind is not None:
            tally.behind.append(_days_later(one, truth, vessels))
        if truth.through_day is None:
            _count_stall(tally, one, truth, said.status == "stalled")
            continue
        tally.false_stalls += said.status == "stalled"
        day = truth.through_day
        tally.kinds.append(one.kind)
        tally.thirds.append(next(name for top, name in _THIRDS if truth.percent_at_cut < top))
        mine = past.get((one.kind, one.species))
        _add_error(tally, "three-point line", three_point_line(one), day)
        _add_error(tally, "own logistic", own_logistic(one), day)
        _add_error(tally, "mean of the past", None if not mine else float(np.mean(mine)), day)
        _add_error(tally, "this project", said.through_median, day)
        low, high = np.quantile(mine, [0.1, 0.9]) if mine else (None, None)
        _add_score(tally, "quantiles of the past", low, high, day)
        _add_score(tally, "this project", said.through_low, said.through_high, day)
        tally.held.append(bool(said.through_low is not None and said.through_low <= day <= (said.through_high or 0)))
        tally.late.append(bool(said.through_high is not None and day > said.through_high))
        tally.below.append([day <= q for q in quantiles[row]])


def forecast_with_quantiles(
    series: Sequence[Series], settings: ForecastSettings | None = None
) -> tuple[tuple[Forecast, ...], NDArray[np.floating[Any]]]:
    """Forecasts of a farm and the 10, 20 ... 90 % quantiles (V, 9) of the days to through, from one fit."""
    settings = settings or ForecastSettings(curve=False)
    prepared, gathered, farm_fit = fit_farm(series, settings)
    rows = np.flatnonzero(gathered.current)
    rows = rows[np.argsort(gathered.vessel[rows])]
    days = farm_fit.quantiles(_LEVELS)[rows] + gathered.start_day[rows, None]
    return make_forecasts(series, prepared, gathered, farm_fit, settings), days


def _days_later(one: Series, truth: Truth, vessels: Sequence[tuple[Series, Truth]]) -> float | None:
    """Days between its true day and the median true day of the others of its batch; None if it was never through."""
    mates = [t.through_day for s, t in vessels if s.batch == one.batch and s is not one and t.through_day is not None]
    return None if truth.through_day is None else float(truth.through_day - np.median(mates))


def _count_stall(tally: Tally, one: Series, truth: Truth, told: bool) -> None:
    tally.stalled += 1
    tally.stalled_told += told
    if _had_stopped(one, truth):
        tally.stalled_plain += 1
        tally.stalled_plain_told += told


def _had_stopped(one: Series, truth: Truth) -> bool:
    """Whether growth had stopped some readings before the cut; otherwise the stall cannot be seen yet."""
    if truth.stalled_day is not None:
        seen = sum(day > truth.stalled_day for day in one.days)
        return truth.cut_day - truth.stalled_day >= _LASTED * truth.stalled_day and seen >= _SEEN
    if len(one.days) <= _SEEN:
        return False
    last = [one.percent[i] for i in np.argsort(one.days)[-_SEEN - 1 :]]
    return bool(np.median(np.abs(np.subtract(last, truth.percent_at_cut))) < _LEVEL and last[0] > last[-1] - 2 * _LEVEL)


def _add_error(tally: Tally, name: str, said: float | None, truth: float) -> None:
    tally.errors.setdefault(name, []).append(NONE_ERROR_DAYS if said is None else abs(said - truth))


def _add_score(tally: Tally, name: str, low: float | None, high: float | None, truth: float) -> None:
    score = NONE_SCORE if low is None or high is None else float(interval_score(low, high, truth))
    tally.scores.setdefault(name, []).append(score)


@dataclass
class Shakes:
    """How often unrecorded shakes are asked about. A drop is visible if a later reading is well below the one before.

    shown_asked of shown: visible drops; calm_asked of calm: vessels never shaken; stalled: shaken vessels reported as
    stalled that became colonised through.
    """

    shown: int = 0
    shown_asked: int = 0
    hidden: int = 0
    calm: int = 0
    calm_asked: int = 0
    stalled: int = 0


def score_shakes(vessels: Sequence[tuple[Series, Truth]], shakes: Shakes) -> None:
    """Forecast the same farm without its events, and count the questions about shakes."""
    said = forecast([replace(s, shaken_days=()) for s, _ in vessels], settings=ForecastSettings(curve=False))
    for (one, truth), told in zip(vessels, said, strict=True):
        asked = told.status == "dropped"
        if one.shaken_days:
            shows = _fall_shows(one)
            shakes.shown += shows
            shakes.shown_asked += shows and asked
            shakes.hidden += not shows
            shakes.stalled += told.status == "stalled" and truth.through_day is not None
        elif not truth.shaken:
            shakes.calm += 1
            shakes.calm_asked += asked


def _fall_shows(one: Series) -> bool:
    order = np.argsort(one.days)
    percent, after = np.array(one.percent)[order], np.array(one.days)[order] > one.shaken_days[0]
    if after.all() or not after.any():
        return False
    last = percent[~after][-1]
    return bool(last >= _LEVEL_BEFORE and percent[after][0] <= _LEFT * last)
