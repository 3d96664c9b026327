"""For any readings, the forecast is ordered and finite, or there is a status without days."""

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calibration import KINDS
from growth.data import ForecastSettings, Series
from growth.forecast import forecast
from tests.values import known

percents = st.floats(0, 100) | st.sampled_from([0.0, 100.0, float("nan"), -5.0, 130.0])
days = st.floats(-2, 90) | st.sampled_from([0.0, 7.0])


@st.composite
def any_series(draw):
    n = draw(st.integers(0, 9))
    bounds = draw(st.booleans())
    seen = draw(st.lists(percents, min_size=n, max_size=n))
    return Series(
        vessel="V",
        kind=draw(st.sampled_from(KINDS)),
        species=draw(st.sampled_from(["oyster", "reishi", "", "no such thing"])),
        substrate=draw(st.sampled_from(["straw", "rye", ""])),
        batch=draw(st.sampled_from(["", "A", "B"])),
        days=tuple(draw(st.lists(days, min_size=n, max_size=n))),
        percent=tuple(seen),
        low=tuple(max(p - 2, 0.0) for p in seen) if bounds else (),
        high=tuple(min(p + 2, 100.0) for p in seen) if bounds else (),
        shaken_days=tuple(draw(st.lists(st.floats(-1, 60), max_size=2))),
        as_of_day=draw(st.none() | st.floats(0, 60)),
        temperature_c=draw(st.none() | st.floats(-20, 60)),
    )


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(any_series(), min_size=1, max_size=4))
def test_any_farm_gives_ordered_finite_days_or_a_status(farm):
    for said in forecast(farm):
        ends = (said.through_low, said.through_median, said.through_high)
        if said.status == "stalled":
            assert ends == (None, None, None)
        else:
            low, median, high = (known(end) for end in ends)
            assert all(math.isfinite(end) for end in (low, median, high))
            assert 0 <= low <= median <= high
        assert said.percent_now is None or 0 <= said.percent_now <= 100
        assert (said.status == "no readings") == (said.percent_now is None)
        assert sum(said.laws.values()) == pytest.approx(1.0, abs=1e-2)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("law", ["radial", "linear"])
def test_a_chosen_law_is_used_for_every_kind(kind, law):
    series = Series("V", kind, "oyster", "", days=(2.0, 4.0, 6.0), percent=(5.0, 20.0, 45.0))
    assert forecast([series], settings=ForecastSettings(laws=(law,)))[0].laws == {law: 1.0}
