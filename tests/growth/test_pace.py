"""The pace that is learned from a farm's records."""

import numpy as np
import pytest

from growth.data import Series
from growth.forecast import forecast, learned_paces
from tests.growth.farms import past, stalled_block, through_day
from tests.values import known


def test_an_empty_farm_has_no_learned_pace():
    assert learned_paces([]) == ()


def test_the_pace_of_the_farm_and_its_batches_is_learned():
    (pace,) = learned_paces(past(n=16, rate=0.09))
    own = through_day(3.0, 0.09, 2.0)
    assert (pace.kind, pace.species, pace.substrate) == ("block", "oyster", "straw")
    assert pace.table_days == 14
    assert "Vikaspedia" in pace.table_source
    assert pace.median_days == pytest.approx(own, rel=0.1)
    assert pace.low_days < own < pace.high_days
    assert [batch.batch for batch in pace.batches] == ["P", "Q"]
    assert [batch.median_days for batch in pace.batches] == pytest.approx([own, own], rel=0.1)
    assert pace.finished + 1 >= pace.vessels == 16
    assert sum(pace.laws.values()) == pytest.approx(1.0, abs=0.01)


def test_the_days_of_a_batch_are_the_median_of_its_forecasts():
    farm = past(n=16, rate=0.09)
    (pace,) = learned_paces(farm)
    days: dict[str, list[float]] = {"P": [], "Q": []}
    for one, vessel in zip(forecast(farm), farm, strict=True):
        days[vessel.batch].append(known(one.through_median))
    assert [one.median_days for one in pace.batches] == pytest.approx([np.median(days[n]) for n in "PQ"], abs=0.011)


def test_the_spread_within_a_batch_is_learned():
    """Vessels differ by a tenth in rate, so their half-way days do by about a tenth of the growing part: 0.06-0.1."""
    (pace,) = learned_paces(past(n=40, batches=("P", "Q", "R", "S")))
    assert 0.03 < pace.within_spread < 0.12


def test_stalled_vessels_are_counted_and_do_not_slow_the_pace():
    (clean,) = learned_paces(past())
    (beside,) = learned_paces([*past(), *[stalled_block(f"Z{i}", batch="P") for i in range(2)]])
    assert beside.stalled == 2
    assert beside.median_days == pytest.approx(clean.median_days, rel=0.05)


def test_without_records_the_pace_is_that_of_the_species_table():
    (pace,) = learned_paces([Series("N1", "block", "shiitake", "oak sawdust")])
    assert pace.median_days == pytest.approx(pace.table_days, rel=0.15)
    assert np.isfinite([pace.low_days, pace.high_days]).all()
    assert pace.batches == ()
