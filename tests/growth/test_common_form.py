"""The laws in the form that forecasts use, against the same published values and geometry as the curves."""

import math

import numpy as np
import pytest

from growth.laws import GROWTH_LAWS, days_at, share_at

# Worked times of Zwietering's lag and rate forms (Appl. Environ. Microbiol. 56: 1875-1881) for A = 100, mu = 10,
# lag = 3, recomputed independently of this project: law, shape, half-way day, and other (day, percent) up to 90 %.
ZWIETERING = [
    ("logistic", 0.0, 8.0, [(0.0, 3.9165722797), (10.0, 68.9974481128), (13.493061443340551, 90.0)]),
    ("gompertz", 0.0, 8.027120095771384, [(0.0, 0.2146208358), (10.0, 66.6687432548), (14.95743315973617, 90.0)]),
    ("richards", math.log(0.5), 8.0022, [(10.0, 68.1826505679), (14.0338, 90.0)]),
]


def parameters(lag: float, half_day: float, shape: float = 0.0, tail: float = 0.0) -> np.ndarray:
    """The four parameters of a law with the given lag and half-way day."""
    growing = (half_day - lag) / half_day
    return np.array([math.log(half_day), math.log(growing / (1.0 - growing)), shape, tail])


@pytest.mark.parametrize(("name", "shape", "half_day", "times"), ZWIETERING, ids=[one[0] for one in ZWIETERING])
def test_sigmoids_pass_through_the_published_times(name, shape, half_day, times) -> None:
    theta, law = parameters(3.0, half_day, shape), GROWTH_LAWS[name]
    for day, percent in times:
        # the half-way day and times of the Richards law have four decimals
        assert 100.0 * share_at(law, np.array([day]), theta)[0] == pytest.approx(percent, abs=2e-3)
        if day > 3.0:
            assert days_at(law, percent / 100.0, theta) == pytest.approx(day, abs=1e-3)


@pytest.mark.parametrize("order", [1.5, 2.0, 3.0])
def test_impingement_is_avramis_equation(order: float) -> None:
    # Avrami 1939-41, written out here: X = 1 - exp(-(k (t - lag))^n)
    lag, rate = 2.0, 0.15
    theta = parameters(lag, lag + math.log(2.0) ** (1.0 / order) / rate, math.log(order))
    for share in (0.05, 0.2, 0.5, 1.0 - math.exp(-1.0), 0.88):
        day = lag + (-math.log(1.0 - share)) ** (1.0 / order) / rate
        assert share_at(GROWTH_LAWS["kjma"], np.array([day]), theta)[0] == pytest.approx(share, abs=1e-9)
        assert days_at(GROWTH_LAWS["kjma"], share, theta) == pytest.approx(day, abs=1e-9)


def test_linear_front_is_a_line() -> None:
    # a front that has covered half by day 7 after a lag of 2 covers a tenth a day (arithmetic)
    got = share_at(GROWTH_LAWS["linear"], np.array([1.0, 2.0, 4.0, 7.0, 10.0]), parameters(2.0, 7.0))
    np.testing.assert_allclose(got, [0.0, 0.0, 0.2, 0.5, 0.8], atol=1e-9)


def test_a_central_colony_has_a_constant_radial_rate() -> None:
    # elementary geometry: area as the square of the radius; a constant rate after the lag (Trinci 1969, J. Gen.
    # Microbiol. 57: 11-24). The plug of 5 mm on a dish of 90 mm is common practice, no source.
    law, theta, lag, half = GROWTH_LAWS["radial"], parameters(1.0, 8.0, -30.0), 1.0, 8.0
    plug = 2.5 / 42.5
    rate = (math.sqrt(0.5) - plug) / (half - lag)
    days = np.array([2.0, 4.0, 6.0, 8.0, 9.5])
    expected = (plug + rate * (days - lag)) ** 2
    np.testing.assert_allclose(share_at(law, days, theta), expected, atol=2e-3)


@pytest.mark.parametrize("name", GROWTH_LAWS)
@pytest.mark.parametrize("tail", [-1.0, -0.3, 0.5])
def test_days_and_shares_are_inverses(name: str, tail: float) -> None:
    law = GROWTH_LAWS[name]
    theta = parameters(2.0, 9.0, law.shape_mean, tail)
    for share in (0.1, 0.4, 0.899, 0.901, 0.95, 0.99, 0.999):
        day = float(days_at(law, share, theta))
        assert share_at(law, np.array([day]), theta)[0] == pytest.approx(share, abs=5e-4 if name == "radial" else 1e-9)


@pytest.mark.parametrize("name", GROWTH_LAWS)
@pytest.mark.parametrize("tail", [-1.0, 0.5])
def test_the_tail_is_the_time_of_the_last_tenth(name: str, tail: float) -> None:
    """Days from 90 to 99 % are exp(tail) times those from 30 to 90 %; the prior of the tail has this definition."""
    law = GROWTH_LAWS[name]
    at = {share: float(days_at(law, share, parameters(2.0, 9.0, law.shape_mean, tail))) for share in (0.3, 0.9, 0.99)}
    assert (at[0.99] - at[0.9]) / (at[0.9] - at[0.3]) == pytest.approx(math.exp(tail), rel=1e-9)
