"""Forecasts of farms with known truth."""

from dataclasses import replace

import numpy as np
import pytest

from growth.data import ForecastSettings, Series
from growth.forecast import forecast
from growth.laws import kjma
from tests.growth.farms import block, past, readings, stalled_block
from tests.values import known

PLAIN = ForecastSettings(curve=False)


def one(series, others=(), settings=PLAIN):
    return forecast([*others, series], settings=settings)[-1]


def test_an_empty_farm_gives_an_empty_forecast():
    assert forecast([]) == ()


def test_a_vessel_half_colonised_is_forecast_within_its_interval():
    series, truth = block("X1", until=9.0)
    said = one(series, past())
    assert said.status == "colonising"
    assert said.through_low < truth < said.through_high
    assert abs(said.through_median - truth) < 2.0
    assert said.through_high - said.through_low < 9.0
    assert sum(said.laws.values()) == pytest.approx(1.0, abs=1e-3)


def test_the_interval_narrows_as_readings_come_in():
    widths = []
    for until in (4.0, 8.0, 13.0):
        said = one(block("X1", until=until)[0], past())
        widths.append(said.through_high - said.through_low)
    assert widths[0] > widths[1] > widths[2]


def test_results_are_repeatable():
    farm = [*past(), block("X1", until=8.0)[0]]
    assert forecast(farm) == forecast(farm)


def test_order_of_readings_and_photos_of_the_same_hour_do_not_matter():
    series, _ = block("X1", until=9.0)
    back = {name: getattr(series, name)[::-1] for name in ("days", "percent", "low", "high")}
    turned = one(replace(series, **back), past())
    assert turned == one(series, past())
    twice = replace(series, **{name: tuple(x for x in getattr(series, name) for _ in range(2)) for name in back})
    assert one(twice, past()) == one(series, past())


def test_a_vessel_without_readings_gets_a_reason_and_the_pace_of_its_batch():
    said = one(Series("E1", "block", "oyster", "straw", "P"), past())
    assert said.status == "no readings"
    assert said.percent_now is None
    assert "no readings yet" in said.notes[-1]
    assert 12 < said.through_median < 25


def test_one_reading_still_gives_a_range():
    said = one(Series("E1", "block", "oyster", "straw", "P", days=(6.0,), percent=(15.0,)), past())
    assert said.through_low < said.through_median < said.through_high
    assert said.through_low > 6.0


def test_a_vessel_already_through_at_its_first_photo():
    said = one(
        Series("E1", "block", "oyster", "straw", "P", days=(30.0,), percent=(100.0,), low=(99.0,), high=(100.0,)),
        past(),
    )
    assert said.status in ("colonised", "ready")
    assert said.through_high <= 31.0
    assert said.percent_now > 98.5


def test_a_vessel_without_visible_growth_is_waiting():
    said = one(block("X1", lag=6.0, until=4.0)[0], past())
    assert said.status == "waiting"


def test_readings_without_a_number_are_reported_and_left_out():
    series, _ = block("X1", until=9.0)
    broken = replace(
        series,
        days=(*series.days, -3.0, 4.5),
        percent=(*series.percent, 10.0, float("nan")),
        low=(*series.low, None, None),
        high=(*series.high, None, None),
    )
    said = one(broken, past())
    assert any("before inoculation" in note for note in said.notes)
    assert any("1 reading without a percent" in note for note in said.notes)
    assert said.through_median == one(series, past()).through_median


def test_lengths_that_disagree_are_refused():
    with pytest.raises(ValueError, match="vessel E1: 2 days but 1 percents"):
        forecast([Series("E1", "block", days=(1.0, 2.0), percent=(5.0,))])


def test_readings_after_the_as_of_time_are_not_used():
    series, _ = block("X1")
    early = one(replace(series, as_of_day=8.0), past())
    cut = sum(day <= 8.0 for day in series.days)
    same = replace(series, as_of_day=8.0, **{n: getattr(series, n)[:cut] for n in ("days", "percent", "low", "high")})
    assert early == one(same, past())


def test_one_wrong_reading_does_not_move_the_day_and_is_reported():
    series, _ = block("X1", until=10.0)
    at = 7
    wrong = replace(
        series,
        percent=(*series.percent[:at], 96.0, *series.percent[at + 1 :]),
        low=(*series.low[:at], 94.0, *series.low[at + 1 :]),
        high=(*series.high[:at], 98.0, *series.high[at + 1 :]),
    )
    clean, said = one(series, past()), one(wrong, past())
    width = clean.through_high - clean.through_low
    assert abs(said.through_median - clean.through_median) < 0.25 * width
    assert any("does not fit its curve" in note and "96 %" in note for note in said.notes)
    assert not clean.notes


def jar(name, shaken=None, told=True, until=None, batch="J", lag=3.0):
    """A jar of oyster on rye that is shaken at a third, drops to zero, and runs again twice as fast."""
    rng = np.random.default_rng(sum(map(ord, name)))
    days = np.arange(0.4, until or 16.0, 1.0)
    percent = kjma(days, lag, 0.16, 2.0)
    if shaken:
        percent = np.where(days > shaken, kjma(days - shaken, 0.8, 0.35, 2.0), percent)
    truth = (shaken + 0.8 + np.log(100) ** 0.5 / 0.35) if shaken else lag + np.log(100) ** 0.5 / 0.16
    series = Series(name, "jar", "oyster", "rye", batch, **readings(rng, days, percent))
    return replace(series, shaken_days=(shaken,) if shaken and told else ()), truth


def jars_past():
    return [jar(f"H{i}", lag=2.6 + 0.1 * i)[0] for i in range(6)] + [
        jar(f"S{i}", shaken=6.0 + 0.2 * i)[0] for i in range(4)
    ]


def test_a_shaken_jar_starts_a_new_phase_and_is_not_stalled():
    series, truth = jar("X1", shaken=6.6, until=9.0)
    said = one(series, jars_past())
    assert said.status == "colonising"
    assert said.through_low < truth < said.through_high


def test_a_jar_shaken_after_its_last_reading_runs_on_from_the_shake():
    series, _ = jar("X1", until=6.5)
    said = one(replace(series, shaken_days=(6.6,)), jars_past())
    assert said.status == "colonising"
    assert 9.0 < said.through_median < 16.0


def test_a_drop_without_an_event_is_asked_about():
    series, _ = jar("X1", shaken=6.6, told=False, until=9.0)
    said = one(series, jars_past())
    assert said.status == "dropped"
    assert any("was it shaken?" in note for note in said.notes)
    before, after = series.days.index(said.drop.before_day), series.days.index(said.drop.after_day)
    assert after == before + 1
    assert said.drop.before_day < said.drop.shake_day < said.drop.after_day
    assert (said.drop.before_percent, said.drop.after_percent) == pytest.approx(
        (series.percent[before], series.percent[after])
    )


def test_a_single_low_last_reading_is_asked_about_and_does_not_move_the_day():
    series, _ = jar("X1", shaken=6.6, told=False, until=7.9)
    before = {n: getattr(series, n)[:-1] for n in ("days", "percent", "low", "high")}
    said, clean = one(series, jars_past()), one(replace(series, **before), jars_past())
    assert said.status == "dropped"
    assert said.through_median == pytest.approx(clean.through_median, abs=0.5)


@pytest.mark.parametrize("known", [1, 2])
def test_a_shake_soon_after_growth_shows_is_asked_about_with_its_day(known):
    """One reading above zero before the drop is enough if two show the drop; the days are those of a shake."""
    series, truth = jar("X1", shaken=6.6, told=False, until=11.0)
    first = next(i for i, percent in enumerate(series.percent) if percent > 5.0)
    keep = [i for i, day in enumerate(series.days) if day > 6.6 or i < first + known]
    sparse = replace(
        series, **{n: tuple(getattr(series, n)[i] for i in keep) for n in ("days", "percent", "low", "high")}
    )
    said = one(sparse, jars_past())
    assert said.status == "dropped"
    day = float(said.notes[-1].split("about day ")[1].split(":")[0])
    assert series.days[keep[first + known - 1]] < day < 7.5
    assert said.through_low < truth < said.through_high


@pytest.mark.parametrize("at", [5, 6, 7])
def test_one_wrong_low_reading_is_not_taken_for_a_shake(at):
    series, _ = jar("X1", until=10.0)
    wrong = replace(
        series,
        **{name: (*getattr(series, name)[:at], 0.5, *getattr(series, name)[at + 1 :]) for name in ("percent", "low")},
        high=(*series.high[:at], 1.5, *series.high[at + 1 :]),
    )
    said, clean = one(wrong, jars_past()), one(series, jars_past())
    assert said.status == "colonising"
    assert said.through_median == pytest.approx(clean.through_median, abs=0.5)


def test_a_plate_is_never_asked_whether_it_was_shaken():
    series, _ = jar("X1", shaken=6.6, told=False, until=9.0)
    assert one(replace(series, kind="plate", substrate="agar")).status != "dropped"


@pytest.mark.parametrize("told", [True, False])
def test_shaken_jars_are_not_called_stalled(told):
    """Jars of every age, half of them shaken a day or two before their last reading."""
    farm = [jar(f"X{i}", shaken=5.5 + 0.2 * i, told=told, until=7.5 + 0.4 * i, batch="N")[0] for i in range(8)]
    assert "stalled" not in {said.status for said in forecast([*jars_past(), *farm], settings=PLAIN)[-8:]}


def test_a_vessel_that_stopped_half_way_is_stalled_and_has_no_day():
    said = one(stalled_block(), past())
    assert said.status == "stalled"
    assert said.through_median is None
    assert said.ready_high is None
    assert said.percent_now == pytest.approx(float(kjma(7.5, 3.0, 0.14, 2.0)), abs=3.0)


def test_the_curve_of_a_stalled_vessel_stays_where_it_stopped():
    said = one(stalled_block(), past(), ForecastSettings())
    assert said.status == "stalled"
    assert max(said.curve.median) == pytest.approx(said.percent_now, abs=0.5)
    assert said.curve.days[-1] < 21


def test_a_curve_ends_when_the_vessel_is_through_however_late_it_is_asked_for():
    series, day = block("X1")
    said = one(replace(series, as_of_day=200.0), past(), ForecastSettings())
    assert said.curve.days[-1] < day + 6


def test_a_slow_vessel_of_a_slow_batch_is_not_called_stalled():
    slow = [block(f"S{i}", rate=0.06, lag=5.0, until=20.0, batch="slow")[0] for i in range(5)]
    assert {f.status for f in forecast([*past(), *slow], settings=PLAIN)[-5:]} == {"colonising"}


def test_stalled_vessels_do_not_slow_their_siblings():
    series, _ = block("X1", until=6.0, batch="B")
    alone = one(series, past())
    beside = one(series, [*past(), *[stalled_block(f"Z{i}", batch="B") for i in range(3)]])
    assert beside.through_median == pytest.approx(alone.through_median, abs=1.5)


def test_two_finished_batches_outweigh_the_species_table():
    """The table has 14 days for oyster on straw; this farm takes 26."""
    slow = past(rate=0.093, lag=3.0)
    newcomer = Series("N1", "block", "oyster", "straw", "new", days=(0.5,), percent=(0.0,))
    said = one(newcomer, slow)
    assert 20 < said.through_median < 32
    assert one(newcomer).through_median < 20


def test_a_young_vessel_is_forecast_from_its_siblings():
    young = Series("N1", "block", "oyster", "straw", "slow", days=(0.5, 3.0), percent=(0.0, 0.0))
    siblings = [block(f"S{i}", rate=0.09, until=14.0, batch="slow")[0] for i in range(6)]
    assert one(young, [*past(), *siblings]).through_median > one(young, past()).through_median + 2


@pytest.mark.parametrize("n_mates", [3, 4])
def test_a_vessel_far_behind_its_batch_is_reported_and_its_mates_are_not(n_mates):
    mates = [block(f"M{i}", rate=0.16, until=12.0, batch="A")[0] for i in range(n_mates)]
    slow, _ = block("N1", rate=0.07, until=12.0, batch="A")
    said = forecast([slow, *mates, *past()], settings=PLAIN)
    usual = np.median([one.through_median for one in said[1 : 1 + n_mates]])
    assert said[0].status == "colonising"
    assert said[0].days_behind == pytest.approx(said[0].through_median - usual, abs=0.06)
    assert known(said[0].days_behind) > 5
    assert any("behind the rest of its batch" in note for note in said[0].notes)
    assert all(one.days_behind is None for one in said[1:])


def test_no_vessel_is_called_behind_in_a_batch_of_a_few():
    mates = [block(f"M{i}", rate=0.16, until=12.0, batch="A")[0] for i in range(2)]
    slow, _ = block("N1", rate=0.07, until=12.0, batch="A")
    assert forecast([slow, *mates, *past()], settings=PLAIN)[0].days_behind is None


def test_an_unknown_species_uses_the_generic_row_with_one_note():
    farm = [Series(f"U{i}", "bag", "velvet foot", "nut shells", days=(5.0,), percent=(10.0,)) for i in range(3)]
    said = forecast(farm, settings=PLAIN)
    assert [sum("usual for any bag" in note for note in f.notes) for f in said] == [1, 0, 0]


def test_consolidation_moves_ready_but_not_through():
    series, _ = block("X1", until=9.0)
    table, none = one(series, past()), one(series, past(), ForecastSettings(consolidation_days=0.0, curve=False))
    assert table.ready_median == pytest.approx(table.through_median + 3.0, abs=1e-3)
    assert none.ready_median == none.through_median == table.through_median


def test_consolidation_depends_on_the_use_not_on_the_kind():
    """A block of sawdust for spawn does not consolidate; neither does one of grain."""
    series, _ = block("X1", until=9.0)
    for changed in (replace(series, use="spawn"), replace(series, substrate="rye grain")):
        found = one(changed, past())
        assert found.ready_median == found.through_median


def test_a_lower_threshold_is_reached_earlier():
    series, _ = block("X1", until=9.0)
    assert (
        one(series, past(), ForecastSettings(through_percent=90.0)).through_median < one(series, past()).through_median
    )


def test_a_colder_place_moves_the_prior_but_not_the_readings():
    fresh = Series("N1", "block", "oyster", "straw", "new")
    cold = one(replace(fresh, temperature_c=12.0))
    assert known(cold.through_median) > 1.3 * known(one(fresh).through_median)
    old, truth = block("X1", until=14.0)
    assert one(replace(old, temperature_c=12.0), past()).through_median == pytest.approx(truth, abs=1.5)


def test_a_temperature_has_no_effect_on_a_species_without_cardinal_temperatures():
    fresh = Series("N1", "block", "velvet foot", "straw", "new")
    assert one(replace(fresh, temperature_c=12.0)).through_median == one(fresh).through_median


@pytest.mark.parametrize("law", ["kjma", "logistic", "gompertz", "richards", "linear"])
def test_one_law_can_be_chosen(law):
    said = one(block("X1", until=9.0)[0], past(), ForecastSettings(laws=(law,)))
    assert said.laws == {law: 1.0}
    assert said.through_low < said.through_median < said.through_high


def test_the_curve_rises_from_zero_to_one_hundred_within_its_band():
    said = one(block("X1", until=9.0)[0], past(), ForecastSettings())
    curve = said.curve
    assert curve.median[0] < 1 < 97 < curve.median[-1]
    assert all(low <= middle <= high for low, middle, high in zip(curve.low, curve.median, curve.high, strict=True))
    assert np.all(np.diff(curve.median) >= 0)


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ({"through_percent": 100.0}, "between 50 and 99.9"),
        ({"interval": 1.0}, "between 0 and 1"),
        ({"laws": ("weibull",)}, "no growth law is named weibull"),
    ],
)
def test_invalid_settings_are_refused(setting, message):
    with pytest.raises(ValueError, match=message):
        ForecastSettings(**setting)


def test_a_drop_among_the_last_readings_is_a_stall_only_if_it_lasts():
    """A jar with an unrecorded shake between two photos seems to stand still; one that stays there has stalled."""
    days = (0.3, 1.2, 2.3, 3.3, 4.3, 5.3, 6.3, 7.3, 9.3)
    seen = (0.0, 0.0, 1.0, 0.0, 1.0, 14.0, 53.0, 40.0, 50.0)
    low, high = tuple(max(p - 4, 0.0) for p in seen), tuple(min(p + 4, 100.0) for p in seen)
    fell = Series("J1", "jar", "oyster", "rye", "P", days=days, percent=seen, low=low, high=high)
    assert one(fell).status != "stalled"
    stays = {"days": (10.3, 11.3, 13.3, 15.3), "percent": (50.0, 51.0, 49.0, 50.0)}
    bounds = {"low": (46.0, 47.0, 45.0, 46.0), "high": (54.0, 55.0, 53.0, 54.0)}
    longer = {name: getattr(fell, name) + more for name, more in (stays | bounds).items()}
    assert one(replace(fell, **longer)).status == "stalled"
