"""A cached forecast as of a later day, and consistency between the parts of one forecast."""

from dataclasses import replace

import numpy as np
import pytest

from growth.data import ForecastSettings, Series, forecast_as_of
from growth.forecast import forecast, learned_paces
from tests.growth.farms import block, past
from tests.values import known


@pytest.fixture(scope="module")
def growing():
    series, _ = block("X1", until=9.0)
    return series, forecast([*past(), series])[-1]


@pytest.mark.parametrize("later", [0.0, 1.5, 4.0])
def test_it_equals_a_new_forecast_of_that_day(growing, later):
    """Two ways to the same numbers: from the stored curve, or by a new fit as of the later day."""
    series, said = growing
    day = series.days[-1] + later
    again = forecast([*past(), replace(series, as_of_day=day)])[-1]
    kept = forecast_as_of(said, day)
    assert kept.status == again.status
    assert kept.percent_now == pytest.approx(again.percent_now, abs=0.7)
    assert kept.percent_per_day == pytest.approx(again.percent_per_day, rel=0.03, abs=0.1)


def test_a_vessel_counts_as_colonised_from_its_median_day_on(growing):
    """The median is the day by which half of such vessels are colonised through; ready has its own median day."""
    _, said = growing
    for day, status in [
        (said.through_median - 0.01, "colonising"),
        (said.through_median + 0.01, "colonised"),
        (said.ready_median - 0.01, "colonised"),
        (said.ready_median + 0.01, "ready"),
    ]:
        assert forecast_as_of(said, day).status == status


def test_the_pace_is_the_rise_over_one_day(growing):
    series, said = growing
    day = series.days[-1]
    rise = np.interp(day + 0.5, said.curve.days, said.curve.median) - np.interp(
        day - 0.5, said.curve.days, said.curve.median
    )
    assert said.percent_per_day == pytest.approx(rise, rel=0.02)


@pytest.mark.parametrize(
    ("band", "day"), [("median", "through_median"), ("low", "through_high"), ("high", "through_low")]
)
def test_the_curve_reaches_the_threshold_on_the_reported_days(growing, band, day):
    """The chance of being through by a day is the chance that the percent of that day is above the threshold."""
    _, said = growing
    percent = np.array(getattr(said.curve, band))
    crossed = float(np.interp(99.0, percent, said.curve.days))
    # the bands of the curve use 100 draws, the days use all of them
    assert crossed == pytest.approx(getattr(said, day), abs=0.03 if band == "median" else 0.15)


def test_a_future_vessel_is_forecast_at_the_learned_pace():
    """The learned pace of a species on its substrate must agree with the forecast of a vessel of a future batch."""
    newcomer = Series("N1", "block", "oyster", "straw", "new")
    said = forecast([*past(24), newcomer], settings=ForecastSettings(curve=False))[-1]
    (pace,) = learned_paces(past(24))
    for name, value in [("median", pace.median_days), ("low", pace.low_days), ("high", pace.high_days)]:
        assert getattr(said, f"through_{name}") == pytest.approx(value, rel=0.01)


def test_a_shake_halves_the_time_to_half_colonised():
    """A shaken jar runs again from many broken pieces in about half the time (common practice, no source)."""
    settings = ForecastSettings(laws=("logistic",))
    fresh = Series("J1", "jar", "oyster", "rye", "A", days=(0.2,), percent=(0.0,))
    plain, shaken = (
        forecast([fresh], settings=settings)[0],
        forecast([replace(fresh, shaken_days=(0.5,))], settings=settings)[0],
    )
    curves = (known(one.curve) for one in (plain, shaken))
    half, again = (float(np.interp(50.0, curve.median, curve.days)) for curve in curves)
    assert (again - 0.5) / half == pytest.approx(0.525, abs=0.01)
