"""Joint draws: those of a vessel agree with its forecast, and related vessels are correlated by what they share."""

import numpy as np
import pytest

from growth.data import Series
from growth.forecast import draw_days, forecast, learned_paces
from tests.growth.farms import block, past, stalled_block


@pytest.fixture(scope="module")
def farm():
    young = [block(f"Y{i}", until=8, batch="N")[0] for i in range(4)]
    to_come = [Series(f"Z{i}", "block", "oyster", "straw", batch="next") for i in range(6)]
    return [*past(12), *young, *to_come, stalled_block()]


def test_the_draws_of_each_vessel_agree_with_its_forecast(farm):
    drawn = draw_days(farm)
    for n, said in enumerate(forecast(farm)):
        if said.ready_median is None:
            assert np.isnan(drawn.ready[n]).all()
            continue
        found = np.quantile(drawn.ready[n], [0.1, 0.5, 0.9])
        assert found == pytest.approx([said.ready_low, said.ready_median, said.ready_high], rel=0.01)
    assert drawn.vessels == tuple(one.vessel for one in farm)


def test_consolidation_days_follow_the_day_a_vessel_is_through(farm):
    drawn = draw_days(farm[:2])
    assert np.allclose(drawn.ready - drawn.through, 3.0)  # oyster blocks: 3 days, common practice


def test_future_vessels_of_one_batch_are_correlated_by_the_spread_between_batches(farm):
    """The correlation of two members of one class, shared / (shared + own): intraclass correlation (Fisher 1925)."""
    ready = draw_days(farm, n_draws=2000).through[16:22]
    (pace,) = learned_paces(farm)
    found = np.corrcoef(np.log(ready))[np.triu_indices(6, 1)].mean()
    between, within = pace.between_spread**2, pace.within_spread**2
    # The tail varies within a batch too, and the group's mean is uncertain: so only close to the half-way day's share.
    assert found == pytest.approx(between / (between + within), abs=0.15)
    other = draw_days([*farm, Series("W", "plate", "shiitake", "agar")], n_draws=2000).through
    assert abs(np.corrcoef(other[16], other[-1])[0, 1]) < 0.1


def test_a_sum_is_less_certain_than_with_independent_vessels(farm):
    ready = draw_days(farm).ready[16:22]
    alone = np.array([np.random.default_rng(n).permutation(row) for n, row in enumerate(ready)])
    day = np.median(ready)
    assert (ready <= day).sum(axis=0).std() > 1.5 * (alone <= day).sum(axis=0).std()


def test_draws_are_repeatable_and_empty_for_no_vessels(farm):
    assert np.array_equal(draw_days(farm).ready, draw_days(farm).ready, equal_nan=True)
    assert draw_days([]).ready.shape == (0, 400)
