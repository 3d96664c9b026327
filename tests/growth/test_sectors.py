"""Radial rates by direction, on colonies with known rates."""

import numpy as np
import pytest

from growth.fit import FailedFit, RadialRate, rate_colony

DAYS = [1.0, 2.0, 3.0, 4.0, 5.0]
RIM = [[43.0] * 36] * 5


def _radii(rate_mm_per_day, lag=0.5):
    """Radius 2.5 mm plus a steady rate after the lag: the linear radial law of Trinci 1971."""
    return [[2.5 + rate * max(day - lag, 0) for rate in rate_mm_per_day] for day in DAYS]


def test_a_steady_colony_gives_its_rate_and_no_sector():
    found = rate_colony(DAYS, _radii([4.0] * 36), RIM)
    assert isinstance(found.whole, RadialRate)
    assert found.whole.mm_per_day == pytest.approx(4.0, rel=1e-6)
    assert found.whole.lag_days == pytest.approx(0.5, abs=1e-6)
    assert found.fast_sectors == ()


def test_a_fast_sector_across_the_start_of_the_circle_is_reported_once():
    rates = [4.0] * 36
    for i in (34, 35, 0, 1, 2):
        rates[i] = 5.2
    (sector,) = rate_colony(DAYS, _radii(rates), RIM).fast_sectors
    assert (sector.from_degrees, sector.to_degrees) == (340.0, 30.0)
    assert sector.mm_per_day == pytest.approx(5.2, rel=1e-6)
    assert sector.times_median == pytest.approx(1.3, rel=1e-6)


def test_one_fast_direction_and_scatter_are_not_called_a_sector():
    rates = [4.0] * 36
    rates[7] = 6.0
    assert rate_colony(DAYS, _radii(rates), RIM).fast_sectors == ()
    noisy = np.array(_radii([4.0] * 36)) + np.random.default_rng(2).normal(0, 1.0, (5, 36))
    assert rate_colony(DAYS, noisy.tolist(), RIM).fast_sectors == ()


def test_directions_at_the_rim_are_left_out():
    rim = [[10.0] * 18 + [43.0] * 18] * 5
    radii = np.minimum(np.array(_radii([4.0] * 36)), np.array(rim)).tolist()
    found = rate_colony(DAYS, radii, rim)
    assert isinstance(found.whole, RadialRate)
    assert found.whole.mm_per_day == pytest.approx(4.0, rel=1e-6)


def test_too_few_days_fail_with_a_reason():
    found = rate_colony(DAYS[:2], _radii([4.0] * 36)[:2], RIM[:2])
    assert isinstance(found.whole, FailedFit)
    assert found.fast_sectors == ()
    assert isinstance(rate_colony([], [], []).whole, FailedFit)
