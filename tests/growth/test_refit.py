"""Batches refitted with the priors learned by a fit of the whole farm, compared with another whole fit."""

from dataclasses import replace

import numpy as np
import pytest

from growth.data import ForecastSettings, Series
from growth.fit import LearnedPriors
from growth.forecast import forecast, forecast_and_learn, reforecast_batches
from tests.growth.farms import block, past, stalled_block

PLAIN = ForecastSettings(curve=False)


def unbounded(one: Series) -> Series:
    return replace(one, low=(), high=())


def shaken(name: str, day: float = 6.0) -> Series:
    """A jar shaken on a given day, after which it starts again and runs twice as fast."""
    before, after = block(name, until=day)[0], block(name, rate=0.28, lag=1.0, until=5.0)[0]
    days = before.days + tuple(day + d for d in after.days)
    parts = {part: getattr(before, part) + getattr(after, part) for part in ("percent", "low", "high")}
    jar: Series = replace(before, kind="jar", substrate="rye", batch="J", days=days, shaken_days=(day,), **parts)
    return jar


def live(batch: str, n: int = 3, until: float = 8.0, **more) -> list[Series]:
    return [block(f"{batch}{i}", rate=0.13 + 0.01 * i, until=until, batch=batch, **more)[0] for i in range(n)]


FARM = [
    *past(),
    *live("L"),
    *live("M", until=11.0),
    *map(unbounded, live("N")),
    stalled_block("S0", batch="M"),
    *(shaken(f"J{i}", 5.0 + i) for i in range(3)),
    block("alone", until=9.0, batch="")[0],
]


@pytest.fixture(scope="module")
def whole():
    return forecast_and_learn(FARM, settings=PLAIN)


def of_batches(farm: list[Series], *names: str) -> list[Series]:
    return [one for one in farm if one.batch in names]


def days(said) -> np.ndarray:
    edges = ("through_low", "through_median", "through_high")
    return np.array([[np.nan if getattr(one, edge) is None else getattr(one, edge) for edge in edges] for one in said])


def test_the_fit_that_learns_priors_gives_the_same_forecasts(whole):
    assert whole[0] == forecast(FARM, settings=PLAIN)


@pytest.mark.parametrize("names", [("P",), ("L",), ("M",), ("N",), ("J",), ("",), ("L", "N", "")])
def test_the_forecast_of_an_unchanged_batch_stays(whole, names):
    """Within a tenth of the interval's width, since the two use different sample points."""
    before = {one.vessel: one for one in whole[0]}
    again = reforecast_batches(of_batches(FARM, *names), whole[1], settings=PLAIN)
    assert again is not None
    then = [before[one.vessel] for one in again]
    width = days(then)[:, 2] - days(then)[:, 0]
    assert (np.abs(days(again) - days(then)) <= 0.1 * width[:, None] + 0.02)[~np.isnan(width)].all()
    assert [one.status for one in again] == [one.status for one in then]
    for one, other in zip(again, then, strict=True):
        assert one.laws == pytest.approx(other.laws, abs=0.1)


def test_a_new_reading_moves_the_day_as_a_whole_fit_would(whole):
    now = [*of_batches(FARM, "P", "Q", "M", "N", "J", ""), *live("L", until=12.0)]
    again = reforecast_batches(of_batches(now, "L"), whole[1], settings=PLAIN)
    fitted = [one for one in forecast(now, settings=PLAIN) if one.vessel.startswith("L")]
    before = [one for one in whole[0] if one.vessel.startswith("L")]
    assert again is not None
    assert np.abs(days(again) - days(fitted)).max() < 0.25
    assert np.abs(days(before) - days(fitted)).max() > 0.5


def test_the_refit_of_a_batch_does_not_depend_on_other_refits(whole):
    alone = reforecast_batches(of_batches(FARM, "L"), whole[1], settings=PLAIN)
    beside = reforecast_batches(of_batches(FARM, "L", "M", "J"), whole[1], settings=PLAIN)
    assert alone is not None
    assert beside is not None
    np.testing.assert_allclose(days(alone), days(beside)[:3], atol=0.002)


def test_a_new_batch_is_forecast_at_the_pace_of_its_group(whole):
    newcomer = Series("new", "block", "oyster", "straw", "Z")
    again = reforecast_batches([newcomer], whole[1], settings=PLAIN)
    *_, fitted = forecast([*FARM, newcomer], settings=PLAIN)
    assert again is not None
    assert again[0].status == "no readings"
    assert days(again)[0] == pytest.approx(days([fitted])[0], rel=0.03)


def test_learned_priors_are_stored_as_bytes(whole):
    read = LearnedPriors.from_bytes(whole[1].to_bytes())
    assert (read.groups, read.batches, read.laws) == (whole[1].groups, whole[1].batches, whole[1].laws)
    some = of_batches(FARM, "N", "J")
    assert reforecast_batches(some, read, settings=PLAIN) == reforecast_batches(some, whole[1], settings=PLAIN)


def test_a_species_without_learned_priors_is_not_refitted(whole):
    assert reforecast_batches([block("X", species="reishi", until=6.0)[0]], whole[1], settings=PLAIN) is None


def test_notes_are_not_repeated():
    unknown = [replace(one, species="velvet foot") for one in [*past(), *live("L")]]
    said, learned = forecast_and_learn(unknown, settings=PLAIN)
    (note,) = said[0].notes
    again = reforecast_batches(of_batches(unknown, "L"), learned, settings=PLAIN)
    quiet = reforecast_batches(of_batches(unknown, "L"), learned, already_given={note}, settings=PLAIN)
    assert again is not None
    assert quiet is not None
    assert [one.notes for one in again] == [(note,), (), ()]
    assert [one.notes for one in quiet] == [(), (), ()]
