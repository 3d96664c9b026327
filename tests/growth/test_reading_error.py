"""Readings by eye have no bounds; their error is learned from their scatter."""

from dataclasses import replace

import numpy as np
import pytest

from growth.data import Forecast, ForecastSettings, Series
from growth.forecast import forecast
from growth.laws import kjma
from tests.growth.farms import through_day
from tests.values import known

PLAIN = ForecastSettings(curve=False)


def by_eye(name, points, until=None, rate=0.14, batch="A"):
    """A block read daily by eye, with an error of ``points`` (standard deviation at half colonised)."""
    rng = np.random.default_rng(sum(map(ord, name)))
    days = np.arange(0.4, until or through_day(3.0, rate, 2.0) + 2, 1.0)
    percent = kjma(days, 3.0, rate, 2.0)
    error = points * np.sqrt(4 * percent / 100 * (1 - percent / 100))
    seen = np.clip(percent + error * rng.standard_normal(len(days)), 0, 100)
    return Series(name, "block", "oyster", "straw", batch, tuple(map(float, days)), tuple(map(float, seen)))


def farm_by_eye(points):
    past = [by_eye(f"P{i}", points, rate=0.14 * (0.94 + 0.02 * (i % 6)), batch="PQ"[i % 2]) for i in range(12)]
    return [*past, *(by_eye(f"X{i}", points, until=9.0) for i in range(4))]


def width(one: Forecast) -> float:
    return known(one.through_high) - known(one.through_low)


def widths(farm):
    return np.array([width(one) for one in forecast(farm, settings=PLAIN)[-4:]])


def test_larger_errors_by_eye_are_detected_and_widen_the_intervals():
    """The same days and number of readings, with errors of 2 and 12 points; the setting is 6 for both."""
    assert widths(farm_by_eye(12.0)).mean() > 1.3 * widths(farm_by_eye(2.0)).mean()


def test_intervals_contain_the_truth_for_any_error_by_eye():
    truth = through_day(3.0, 0.14, 2.0)
    for points in (2.0, 6.0, 12.0):
        said = forecast(farm_by_eye(points), settings=PLAIN)[-4:]
        assert sum(one.through_low <= truth <= one.through_high for one in said) >= 3


def test_the_bounds_of_readings_are_not_changed_by_readings_by_eye():
    """The scatter of readings by eye in a farm has no effect on readings with bounds."""
    bounded = [
        replace(one, low=tuple(max(p - 5, 0) for p in one.percent), high=tuple(min(p + 5, 100) for p in one.percent))
        for one in farm_by_eye(3.0)
    ]
    other = replace(PLAIN, reading_spread_percent=12.0)
    assert forecast(bounded, settings=other) == forecast(bounded, settings=PLAIN)
    assert widths(farm_by_eye(3.0)) == pytest.approx(
        [width(one) for one in forecast(farm_by_eye(3.0), settings=other)[-4:]], rel=0.5
    )
