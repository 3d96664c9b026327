"""Forecasts that are kept: how often they are made, and that keeping them changes nothing."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

import growth
from farm import Farm, Vessel, add_event, add_vessels, list_vessels, look_ahead
from farm.foretold import foretell
from farm.schema import forecasts
from growth import Forecast, ForecastSettings, Series, forecast

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
DAYS = (1.0, 3.0, 5.0, 7.0, 8.0, 9.0)
PERCENT = (0.0, 3.0, 21.0, 44.0, 57.0, 68.0)
YOUNG = Series("B2", "bag", "oyster", "sawdust", "A", days=DAYS[:3], percent=PERCENT[:3], as_of_day=6.0)
SHELF = [Series("B1", "bag", "oyster", "sawdust", "A", days=DAYS, percent=PERCENT, as_of_day=9.5), YOUNG]


def told(farm: Farm, series: list[Series], settings: ForecastSettings) -> list[Forecast]:
    """As the farm asks: the key of a series is its content, whatever day it is spoken from."""
    keys = [repr(replace(one, as_of_day=None)) for one in series]
    return foretell(farm, keys, [one.as_of_day or 0.0 for one in series], lambda: series, settings)


@pytest.fixture
def fits(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many series each fit was of, as they are made."""
    made: list[int] = []

    def counted(series: list[Series], *, settings: ForecastSettings | None = None) -> tuple[Forecast, ...]:
        made.append(len(series))
        return forecast(series, settings=settings)

    monkeypatch.setattr(growth, "forecast", counted)
    return made


def test_an_unchanged_farm_is_fitted_once_whatever_the_moment(farm: Farm, fits: list[int]) -> None:
    first = told(farm, SHELF, ForecastSettings())
    assert told(farm, SHELF, ForecastSettings()) == first
    later = told(farm, [replace(one, as_of_day=60.0) for one in SHELF], ForecastSettings())
    assert fits == [2]
    assert [one.status for one in first] == ["colonising", "colonising"]
    assert [one.status for one in later] == ["ready", "ready"]
    assert [one.through_median for one in later] == [one.through_median for one in first]


@pytest.mark.parametrize(
    "change",
    [{"percent": (0.0, 3.0, 22.0)}, {"days": (1.0, 3.0, 5.1)}, {"temperature_c": 18.0}, {"shaken_days": (4.0,)}],
)
def test_a_change_in_one_vessel_is_fitted_anew_for_all(farm: Farm, fits: list[int], change: dict[str, object]) -> None:
    """They learn from each other, so a sibling's day may move too."""
    first = told(farm, SHELF, ForecastSettings())
    second = told(farm, [SHELF[0], replace(YOUNG, **change)], ForecastSettings())  # type: ignore[arg-type]
    assert fits == [2, 2]
    assert second[1] != first[1]
    told(farm, SHELF, ForecastSettings(through_percent=95.0))
    assert fits == [2, 2, 2]


def test_what_is_kept_says_what_a_fit_at_that_moment_says(farm: Farm) -> None:
    """The percent is read off the curve; what it gains in a day is that of the median curve, not the median gain."""
    for kept, made in zip(told(farm, SHELF, ForecastSettings()), forecast(SHELF), strict=True):
        assert kept.percent_now == pytest.approx(made.percent_now, abs=0.5)
        assert kept.percent_per_day == pytest.approx(made.percent_per_day, rel=0.1)
        blank = {"percent_now": None, "percent_per_day": None}
        assert replace(kept, **blank) == replace(made, **blank)


def test_only_a_few_are_kept(farm: Farm) -> None:
    for percent in range(90, 99):
        told(farm, SHELF, ForecastSettings(through_percent=float(percent), laws=("logistic",)))
    with farm.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(forecasts)) in (6, 7)


def test_a_shelf_is_asked_twice_and_fitted_once_until_something_happens(farm: Farm, fits: list[int]) -> None:
    add_vessels(farm, [Vessel("J001", "jar", START, species="oyster")])
    for days in (1.0, 2.0):
        look_ahead(farm.at(START + timedelta(days=days)))
    assert fits == [1]
    add_event(farm, "J001", "shaken", START + timedelta(days=3))
    look_ahead(farm.at(START + timedelta(days=4)))
    add_vessels(farm, [Vessel("J002", "jar", START, species="oyster")])
    look_ahead(farm.at(START + timedelta(days=4)))
    assert fits == [1, 1, 2]
    assert len(list_vessels(farm)) == 2
