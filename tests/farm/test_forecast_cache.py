"""The cache of forecasts: how often they are made, and that caching changes no result."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import delete, func, select, update

import growth.forecast
from farm.outlook import bring_up_to_date, forecast_cache
from farm.outlook.forecast_cache import forecast_vessels
from farm.outlook.partial_refit import ForecastRequest
from farm.records import add_event, add_vessels, list_vessels
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.schema import forecasts
from growth.data import Forecast, ForecastSettings, Series, forecast_as_of
from growth.forecast import forecast
from tests.growth.farms import block

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
DAYS = (1.0, 3.0, 5.0, 7.0, 8.0, 9.0)
PERCENT = (0.0, 3.0, 21.0, 44.0, 57.0, 68.0)
YOUNG = Series("B2", "bag", "oyster", "sawdust", "A", days=DAYS[:3], percent=PERCENT[:3], as_of_day=6.0)
SHELF = [Series("B1", "bag", "oyster", "sawdust", "A", days=DAYS, percent=PERCENT, as_of_day=9.5), YOUNG]


def told(farm: Farm, series: list[Series], settings: ForecastSettings) -> list[Forecast]:
    """As in the farm: the key of a series is its content, for any as-of day."""
    asked = [
        ForecastRequest(one.vessel, one.batch, repr(replace(one, as_of_day=None)), one.as_of_day or 0.0)
        for one in series
    ]
    return forecast_vessels(farm, asked, lambda ids: [one for one in series if one.vessel in ids], settings, keep=True)


@pytest.fixture
def fits(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Record the number of series of each fit."""
    made: list[int] = []

    def counted(fit: Callable[..., Any]) -> Callable[..., Any]:
        def fitted(series: Sequence[Series], *more: Any, **others: Any) -> Any:
            made.append(len(series))
            return fit(series, *more, **others)

        return fitted

    for name in ("forecast", "forecast_and_learn", "reforecast_batches"):
        monkeypatch.setattr(growth.forecast, name, counted(getattr(growth.forecast, name)))
    return made


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> list[Series]:
    """A farm that counts as large: twelve batches of two blocks, read on days 6 to 11."""
    monkeypatch.setattr(forecast_cache, "LEAST_VESSELS", 20)
    return [
        block(f"{batch}{n}", rate=0.12 + 0.01 * n, until=6.0 + at / 2, batch=batch, as_of_day=12.0)[0]
        for at, batch in enumerate("ABCDEFGHIJKL")
        for n in range(2)
    ]


def longer(one: Series, percent: float) -> Series:
    """A vessel with one more reading, on day 12."""
    low, high = max(0.0, percent - 3), min(100.0, percent + 3)
    return replace(
        one,
        days=(*one.days, 12.0),
        percent=(*one.percent, percent),
        low=(*one.low, low),
        high=(*one.high, high),
    )


def test_an_unchanged_farm_is_fitted_once_for_any_time(farm: Farm, fits: list[int]) -> None:
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
def test_a_change_of_one_vessel_leads_to_a_fit_of_all(farm: Farm, fits: list[int], change: dict[str, object]) -> None:
    """The fit is pooled, so the days of siblings may change too."""
    first = told(farm, SHELF, ForecastSettings())
    second = told(farm, [SHELF[0], replace(YOUNG, **change)], ForecastSettings())  # type: ignore[arg-type]
    assert fits == [2, 2]
    assert second[1] != first[1]
    told(farm, SHELF, ForecastSettings(through_percent=95.0))
    assert fits == [2, 2, 2]


def test_a_cached_forecast_equals_a_fit_at_that_time(farm: Farm) -> None:
    """The percent is taken from the curve; its gain in a day is that of the median curve, not the median gain."""
    for kept, made in zip(told(farm, SHELF, ForecastSettings()), forecast(SHELF), strict=True):
        assert kept.percent_now == pytest.approx(made.percent_now, abs=0.5)
        assert kept.percent_per_day == pytest.approx(made.percent_per_day, rel=0.1)
        same = replace(kept, percent_now=made.percent_now, percent_per_day=made.percent_per_day)
        assert same == made


@pytest.mark.parametrize("damaged", ["", "[", "[1]", '[{"vessel": "B1"}]'])
def test_a_cached_forecast_that_cannot_be_read_is_made_again(farm: Farm, fits: list[int], damaged: str) -> None:
    made = told(farm, SHELF, ForecastSettings())
    with farm.writing() as connection:
        connection.execute(update(forecasts).values(answers=damaged))
    assert told(farm, SHELF, ForecastSettings()) == made
    assert told(farm, SHELF, ForecastSettings()) == made
    assert len(fits) == 2


def test_only_a_few_forecasts_are_cached(farm: Farm) -> None:
    for percent in range(90, 99):
        told(farm, SHELF, ForecastSettings(through_percent=float(percent), laws=("logistic",)))
    with farm.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(forecasts)) in (6, 7)


def test_only_the_changed_batch_of_a_large_farm_is_refitted(farm: Farm, fits: list[int], large: list[Series]) -> None:
    first = told(farm, large, ForecastSettings())
    second = told(farm, [longer(large[0], 90.0), *large[1:]], ForecastSettings())
    assert fits == [24, 2]
    assert second[2:] == first[2:]
    assert second[0].through_median != first[0].through_median
    whole = forecast([longer(large[0], 90.0), *large[1:]])
    for one, fitted in zip(second[:2], whole[:2], strict=True):
        assert one.through_median == pytest.approx(fitted.through_median, rel=0.05)
    assert told(farm, [longer(large[0], 90.0), *large[1:]], ForecastSettings()) == second
    assert fits == [24, 2]


def test_requests_in_between_have_no_effect(farm: Farm, fits: list[int], large: list[Series]) -> None:
    """A photo of batch A alone; after one of B that is then removed; and instead of one of B."""
    large += [replace(one, vessel=f"{one.vessel}+", batch=f"{one.batch}+") for one in large]
    said = []
    for steps in (["A1"], ["B1", "A1 B1", "A1"], ["B1", "A1"]):
        with farm.writing() as connection:
            connection.execute(delete(forecasts))
        told(farm, large, ForecastSettings())
        for step in steps:
            now = [longer(one, 80.0) if one.vessel in step.split() else one for one in large]
            last = told(farm, now, ForecastSettings())
        said.append(last)
    assert said[0] == said[1] == said[2]
    assert fits == [48, 2, 48, 2, 2, 2, 48, 2, 2]


def test_refitted_batches_are_not_refitted_again(farm: Farm, fits: list[int], large: list[Series]) -> None:
    large += [replace(one, vessel=f"{one.vessel}+", batch=f"{one.batch}+") for one in large]
    now = large
    told(farm, now, ForecastSettings())
    for vessel in ("A0", "B0"):
        now = [longer(one, 80.0) if one.vessel == vessel else one for one in now]
        told(farm, now, ForecastSettings())
    assert fits == [48, 2, 2]


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param(lambda one: longer(one, 80.0) if one.vessel in ("A0", "B0") else one, id="more than a tenth"),
        pytest.param(lambda one: replace(one, species="reishi") if one.batch == "A" else one, id="another species"),
        pytest.param(lambda one: replace(one, batch="B") if one.batch == "A" else one, id="a batch is gone"),
    ],
)
def test_a_large_farm_is_fitted_as_a_whole_after_many_changes(
    farm: Farm, fits: list[int], large: list[Series], changed: Callable[[Series], Series]
) -> None:
    told(farm, large, ForecastSettings())
    now = [changed(one) for one in large]
    assert told(farm, now, ForecastSettings()) == [
        forecast_as_of(said, 12.0) for said in forecast([replace(one, as_of_day=None) for one in now])
    ]
    assert fits[-1] == 24


def test_a_whole_fit_is_cached_as_long_as_it_is_used(farm: Farm, fits: list[int], large: list[Series]) -> None:
    told(farm, large, ForecastSettings())
    for percent in range(70, 90):
        told(farm, [longer(large[0], float(percent)), *large[1:]], ForecastSettings())
    assert fits == [24, *[2] * 20]
    with farm.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(forecasts)) in (6, 7, 8)


def test_a_set_that_rests_on_a_whole_fit_holds_only_what_differs(
    farm: Farm, fits: list[int], large: list[Series]
) -> None:
    now = [*large, *(replace(one, vessel=f"{one.vessel}+", batch=f"{one.batch}+") for one in large)]
    told(farm, now, ForecastSettings())
    for vessel in ("A0", "B0"):
        now = [longer(one, 80.0) if one.vessel == vessel else one for one in now]
        made = told(farm, now, ForecastSettings())
        assert told(farm, now, ForecastSettings()) == made
    with farm.reading() as connection:
        kept = [json.loads(one) for one in connection.scalars(select(forecasts.c.answers))]
    vessels = sorted((sorted(one["vessel"] for one in answers) for answers in kept), key=len)
    assert vessels[:-1] == [["A0", "A1"], ["A0", "A1", "B0", "B1"]]
    assert len(vessels[-1]) == 48
    assert fits == [48, 2, 2]


@pytest.mark.parametrize("gone", [True, False])
def test_without_its_whole_fit_a_set_is_made_again(
    farm: Farm, fits: list[int], large: list[Series], *, gone: bool
) -> None:
    """The whole fit's set is missing, or damaged."""
    told(farm, large, ForecastSettings())
    now = [longer(large[0], 80.0), *large[1:]]
    told(farm, now, ForecastSettings())
    whole = forecasts.c.key == forecasts.c.whole
    with farm.writing() as connection:
        damage = delete(forecasts) if gone else update(forecasts).values(answers="[")
        connection.execute(damage.where(whole))
    made = told(farm, now, ForecastSettings())
    assert made == [forecast_as_of(said, 12.0) for said in forecast([replace(one, as_of_day=None) for one in now])]
    assert told(farm, now, ForecastSettings()) == made
    assert fits == [24, 2, 24]


def test_a_large_farm_with_other_settings_is_fitted_as_a_whole(
    farm: Farm, fits: list[int], large: list[Series]
) -> None:
    told(farm, large, ForecastSettings())
    told(farm, [longer(large[0], 90.0), *large[1:]], ForecastSettings(through_percent=95.0))
    assert fits == [24, 24]


def test_a_second_request_needs_no_fit_until_something_changes(farm: Farm, fits: list[int]) -> None:
    add_vessels(farm, [Vessel("J001", "jar", START, species="oyster")])
    for days in (1.0, 2.0):
        bring_up_to_date(farm.at(START + timedelta(days=days)))
    assert fits == [1]
    add_event(farm, "J001", "shaken", START + timedelta(days=3))
    bring_up_to_date(farm.at(START + timedelta(days=4)))
    add_vessels(farm, [Vessel("J002", "jar", START, species="oyster")])
    bring_up_to_date(farm.at(START + timedelta(days=4)))
    assert fits == [1, 1, 2]
    assert len(list_vessels(farm)) == 2
