"""Fits against certified results (NIST StRD), published refits, and colonies of known rate."""

import numpy as np
import pytest

from growth.fit import FailedFit, FittedLaw, RadialRate, fit_law, fit_radial_rate
from growth.laws import logistic, radial_on_dish, richards


def test_radial_rate_of_a_worked_colony():
    # radii by arithmetic: 3.35 mm a day after a lag of 1 day from a plug of 2.5 mm, the rim at 42.5 mm
    days = np.arange(16.0)
    radius = np.minimum(2.5 + 3.35 * np.maximum(days - 1, 0), 42.5)
    rate = fit_radial_rate(days, radius, dish_radius_mm=42.5, start_radius_mm=2.5)
    assert isinstance(rate, RadialRate)
    assert rate.mm_per_day == pytest.approx(3.35, abs=1e-9)
    assert rate.lag_days == pytest.approx(1.0, abs=1e-9)


def test_the_standard_error_of_the_radial_rate_matches_its_scatter():
    """400 colonies with reading noise: the standard error must equal the observed scatter (uncertain by 4 %)."""
    rng = np.random.default_rng(5)
    days = np.arange(1.0, 10.0)
    radii = (2.5 + 4.0 * days + 0.8 * rng.standard_normal(9) for _ in range(400))
    all_fits = [fit_radial_rate(days, radius, dish_radius_mm=60) for radius in radii]
    fits = [fit for fit in all_fits if isinstance(fit, RadialRate)]
    assert len(fits) == 400
    assert np.mean([f.mm_per_day for f in fits]) == pytest.approx(4.0, abs=0.02)
    told = np.sqrt(np.mean([f.error_mm_per_day**2 for f in fits]))
    assert np.std([f.mm_per_day for f in fits]) == pytest.approx(told, rel=0.12)


def test_the_rate_is_recovered_from_percents_of_a_colony():
    days = np.arange(12.0)
    percent = radial_on_dish(days, 1.5, 4.2, 43.0, 2.5)
    fit = fit_law("radial", days, percent)
    assert isinstance(fit, FittedLaw)
    assert fit.values == pytest.approx({"lag_days": 1.5, "rate_mm_per_day": 4.2}, rel=1e-6)


@pytest.mark.parametrize(
    ("days", "percent", "reason"),
    [
        ([1, 2], [5, 9], "too few"),
        ([1, 2, 3], [5, 9], "3 days but 2 percents"),
        ([1, 2, 3, np.nan], [5, 9, 12, 15], "finite"),
        ([1, 2, 3, 4], [0, 0, 0, 0], "no growth"),
    ],
)
def test_a_failed_fit_has_a_reason(days, percent, reason):
    fit = fit_law("logistic", days, percent)
    assert isinstance(fit, FailedFit)
    assert reason in fit.reason


def test_a_colony_without_growth_fails_with_a_reason():
    for radii, reason in (([9.0, 8.0, 7.0], "does not grow"), ([2.5, 2.5, 9.0], "three days")):
        fit = fit_radial_rate([0, 1, 2], radii)
        assert isinstance(fit, FailedFit)
        assert reason in fit.reason


def test_an_unknown_law_is_refused_with_its_name():
    with pytest.raises(ValueError, match="no growth law is named 'weibull'"):
        fit_law("weibull", [1, 2, 3, 4], [1, 2, 3, 4])


def test_a_parameter_at_its_bound_is_named():
    days = np.arange(1.0, 15)
    fit = fit_law("kjma", days, logistic(days, -6.0, 8.0))
    assert isinstance(fit, FittedLaw)
    assert "lag_days" in fit.at_bound


def test_richards_converges_from_its_own_first_guess():
    days = np.arange(0, 25.0)
    fit = fit_law("richards", days, richards(days, 4.0, 9.0, 0.6))
    assert isinstance(fit, FittedLaw)
    assert fit.values == pytest.approx({"lag_days": 4.0, "percent_per_day": 9.0, "shape": 0.6}, rel=1e-5)
