"""Planning arithmetic, checked by hand, by published figures and by formulas of statistics."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from farm.plan import (
    Band,
    amount_by,
    band_of,
    days_until,
    latest_starts,
    places_in_use,
    spawn_kg,
    split_grain,
    substrate_kg,
    vessels_for,
)


# 45 g of grain spawn in about 850 g of moist straw = 5.3 % (Missouri State University fruit experiment station, 2018).
# 125 g in 2500 g is 5 % of the substrate, but 4.76 % of the mix: a rate here is of the substrate.
@pytest.mark.parametrize(("substrate", "rate", "spawn"), [(2.5, 5, 0.125), (0.85, 5.294118, 0.045)])
def test_spawn_rates_refer_to_the_wet_substrate(substrate, rate, spawn):
    assert spawn_kg(substrate, rate) == pytest.approx(spawn, rel=1e-6)
    assert substrate_kg(spawn, rate) == pytest.approx(substrate, rel=1e-6)


def test_vessels_ready_by_a_day_are_counted_in_each_draw():
    ready = np.array([[1.0, 5.0, 9.0], [2.0, 2.0, 9.0], [np.nan, np.nan, np.nan]])
    assert amount_by(ready, np.array([0.5, 2.0, 5.0])).tolist() == [[0, 0, 0], [2, 1, 0], [2, 2, 0]]
    assert amount_by(ready, np.array([2.0]), np.array([0.5, 2.0, 7.0])).tolist() == [[2.5, 2.0, 0.0]]


def test_a_band_of_counts_has_whole_numbers_that_occur():
    assert band_of(np.repeat([1.0, 2.0, 5.0], [20, 60, 20])) == Band(1, 2, 5)
    assert Band(1, 2, 5).times(10) == Band(10, 20, 50)


def test_a_band_is_reached_nine_times_in_ten_and_exceeded_once() -> None:
    """Deciles of the whole numbers 1 to 1000, by counting."""
    assert band_of(np.arange(1.0, 1001.0)) == Band(100, 500, 900)


def test_a_step_starts_early_enough_nine_times_in_ten() -> None:
    """A step that takes 1 to 1000 days with equal chance: started 900 days early, it is late in 100 of 1000 cases."""
    (start,) = latest_starts(2000.0, [np.arange(1.0, 1001.0)])
    assert (start.sure, start.even) == (1100.0, 1500.0)


def test_spare_vessels_are_a_percentage_of_those_wanted() -> None:
    assert vessels_for(1000, np.zeros(10), spare_percent=10)[0] == 1100


def test_places_are_occupied_from_start_to_last_flush():
    starts = np.array([[0.0, 1.0], [-30.0, -30.0]])
    taken = places_in_use(starts, np.array([22.0, 22.0]), np.array([0.0, 5.0, 22.0, 23.0]))
    assert taken.tolist() == [[1, 0], [1, 1], [0, 1], [0, 0]]


def test_the_day_on_which_a_share_is_ready():
    ready = np.array([[3.0, 9.0], [1.0, 7.0], [2.0, np.nan], [4.0, 8.0]])
    assert days_until(ready, 0.5).tolist() == [2.0, 8.0]
    assert days_until(ready, 1.0)[0] == 4.0
    assert np.isinf(days_until(ready, 1.0)[1])
    assert days_until(ready, np.array([0.25, 0.75])).tolist() == [1.0, 9.0]


def test_starting_days_use_the_quantile_of_a_sum_not_the_sum_of_quantiles():
    """Independent normal durations: the 90 % quantile of a sum is mean + 1.2816 * root of summed variances."""
    chance = np.random.default_rng(1)
    first, last = 20 + 4 * chance.standard_normal(40_000), 15 + 3 * chance.standard_normal(40_000)
    starts = latest_starts(60.0, [first, last])
    assert starts[1].sure == pytest.approx(60 - (15 + 1.2816 * 3), abs=0.1)
    assert starts[0].sure == pytest.approx(60 - (35 + 1.2816 * 5), abs=0.1)
    assert starts[0].even == pytest.approx(60 - 35, abs=0.1)
    assert starts[0].sure > 60 - (35 + 1.2816 * 7) + 1, "a sum of quantiles would start too early"


@pytest.mark.parametrize(("wanted", "loss"), [(10, 0.0), (10, 0.1), (40, 0.2)])
def test_losses_are_replaced_by_extra_vessels(wanted, loss):
    made, left = vessels_for(wanted, np.full(4000, loss))
    # SciPy's binomial distribution: enough nine times in ten, and with one fewer not
    assert binom.sf(wanted - 1, made, 1 - loss) >= 0.88
    assert made == wanted or binom.sf(wanted - 1, made - 1, 1 - loss) < 0.92
    assert left.mean() == pytest.approx(made * (1 - loss), rel=0.02)
    assert vessels_for(wanted, np.zeros(10), spare_percent=10)[0] == round(wanted * 1.1)


@pytest.mark.parametrize(
    ("needed", "at_last", "early", "culture", "used", "starters", "from_plates", "missing"),
    [
        (5, 8, 2, 0, 5, 0, 0, 0),  # the running vessels are enough
        (10, 1, 1, 0, 0, 1, 0, 0),  # one kg that is early is expanded to ten
        # plates first; then the least of the grain: 2 - 1/3 + 10/3 + 5
        (10, 2, 2, 5, 10 - 5 - 10 / 3, 1 / 3, 5, 0),
        (10, 1, 0, 0, 1, 0, 0, 9),  # too late to be expanded: used directly
        (100, 1, 1, 20, 0, 1, 20, 70),
    ],
)
def test_grain_is_taken_from_running_vessels_first(
    needed, at_last, early, culture, used, starters, from_plates, missing
):
    parts = split_grain(needed, at_last, early, culture, 10)
    found = (parts.used_kg, parts.starters_kg, parts.from_plates_kg, parts.missing_kg)
    assert found == pytest.approx((used, starters, from_plates, missing))


amounts = st.floats(0, 1000)


@given(amounts, amounts, amounts, amounts, st.floats(1.5, 20))
def test_amounts_of_grain_add_up_for_any_stock(needed, at_last, early, culture, ratio):
    parts = split_grain(needed, at_last, early, culture, ratio)
    assert parts.used_kg + parts.made_kg >= needed - 1e-6
    assert parts.used_kg + parts.starters_kg <= at_last + 1e-6
    assert min(parts.used_kg, parts.starters_kg, parts.from_plates_kg, parts.missing_kg) >= 0
