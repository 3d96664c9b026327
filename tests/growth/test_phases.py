"""Weights of readings before a fit: units, bounds, and which readings are left out."""

import statistics
from typing import Any

import pytest

from growth.data import ForecastSettings, Series
from growth.fit import prepare

#: 0.9 quantile of the standard normal, from any table of it: half of an 80 % interval, in standard deviations.
Z80 = 1.2816


def spread(percent: float, low: float | None, high: float | None, **settings: Any) -> float:
    """Standard deviation of one reading, as a share."""
    series = Series("V1", "block", days=(5.0,), percent=(percent,), low=(low,), high=(high,))
    (phase,) = prepare(series, ForecastSettings(**settings)).phases
    return float(phase.spread[0])


@pytest.mark.parametrize(("percent", "low", "high"), [(0.0, 0.0, 4.0 * Z80), (100.0, 100.0 - 4.0 * Z80, 100.0)])
def test_bounds_of_80_percent_lie_1_28_standard_deviations_to_each_side(percent, low, high) -> None:
    # at 0 and 100 % a smooth law fits as well as any, so nothing is added to the reading's own error
    assert spread(percent, low, high) == pytest.approx(0.04, rel=1e-4)


def test_an_error_by_eye_is_given_in_points_at_half_colonised() -> None:
    """Variances add up: 12 points instead of 6 at half colonised add 12^2 - 6^2."""
    more = spread(50.0, None, None, reading_spread_percent=12.0) ** 2 - spread(50.0, None, None) ** 2
    assert more == pytest.approx(0.12**2 - 0.06**2, rel=1e-6)
    assert spread(0.0, None, None) < spread(50.0, None, None)


@pytest.mark.parametrize("percent", [100.5, 102.0, -0.5])
def test_values_that_are_not_percents_are_left_out(percent: float) -> None:
    prepared = prepare(Series("V1", "block", days=(5.0,), percent=(percent,)), ForecastSettings())
    assert prepared.phases == ()
    assert "1 reading without a percent from 0 to 100" in prepared.notes[0]


@pytest.mark.parametrize(("percents", "middle"), [((20.0, 30.0, 28.0), 0.28), ((20.0, 30.0, 26.0, 28.0), 0.27)])
def test_photos_within_hours_count_as_their_median_with_the_least_of_their_errors(
    percents: tuple[float, ...], middle: float
) -> None:
    days = (5.0, 5.1, 5.2, 5.22)[: len(percents)]
    low, high = [one - 3.0 for one in percents], [one + 3.0 for one in percents]
    low[1], high[1] = 10.0, 50.0
    series = Series(
        "V1",
        "block",
        days=(2.0, *days, 7.0),
        percent=(1.0, *percents, 60.0),
        low=(0.0, *low, 55.0),
        high=(3.0, *high, 65.0),
    )
    (phase,) = prepare(series, ForecastSettings()).phases
    assert phase.days == pytest.approx([2.0, statistics.median(days), 7.0])
    assert phase.share == pytest.approx([0.01, middle, 0.6])
    assert phase.spread.shape == (3,)
    assert not phase.judged.any()
