"""Fits against certified results (NIST StRD), published refits, and colonies of known rate."""

import numpy as np
import pytest

from growth import FailedFit, FittedLaw, fit_law, fit_radial_rate, logistic, radial_on_dish, richards

# NIST Statistical Reference Datasets, nonlinear regression, higher level of difficulty: Rat42 and Rat43
# (Ratkowsky 1983, Nonlinear Regression Modeling, Marcel Dekker, pp. 61-62 and 88). US government data.
RAT42_X = [9, 14, 21, 28, 42, 57, 63, 70, 79]
RAT42_Y = [8.93, 10.8, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08]
RAT42_B = [72.462237576, 2.6180768402, 0.067359200066]
RAT42_SE = [1.7340283401, 0.088295217536, 0.0034465663377]
RAT42_RSS, RAT42_SD = 8.0565229338, 1.1587725499
RAT43_X = list(range(1, 16))
RAT43_Y = [
    16.08,
    33.83,
    65.8,
    97.2,
    191.55,
    326.2,
    386.87,
    520.53,
    590.03,
    651.92,
    724.93,
    699.56,
    689.96,
    637.56,
    717.41,
]
RAT43_B = [699.6415127, 5.2771253025, 0.75962938329, 1.2792483859]
RAT43_SE = [16.302297817, 2.0828735829, 0.19566123451, 0.68761936385]
# NIST prints 9 degrees of freedom for Rat43, but its standard errors and residual spread follow from 11
RAT43_RSS, RAT43_SD = 8786.404908, 28.262414662

DIGITS = (
    1e-6  # relative: six of the eleven certified digits, what double precision and a finite-difference Jacobian give
)


def rat42(x, b1, b2, b3):
    return b1 / (1 + np.exp(b2 - b3 * x))


def rat43(x, b1, b2, b3, b4):
    return b1 / (1 + np.exp(b2 - b3 * x)) ** (1 / b4)


@pytest.mark.parametrize("start", [(100, 1, 0.1), (75, 2.5, 0.07)], ids=["start 1", "start 2"])
def test_rat42_as_certified(start):
    fit = fit_law(rat42, RAT42_X, RAT42_Y, start=start)
    assert isinstance(fit, FittedLaw)
    assert list(fit.values.values()) == pytest.approx(RAT42_B, rel=DIGITS)
    assert list(fit.errors.values()) == pytest.approx(RAT42_SE, rel=DIGITS)
    assert fit.residual_sum_of_squares == pytest.approx(RAT42_RSS, rel=1e-9)
    assert fit.residual_spread == pytest.approx(RAT42_SD, rel=1e-9)


@pytest.mark.parametrize("start", [(100, 10, 1, 1), (700, 5, 0.75, 1.3)], ids=["start 1", "start 2"])
def test_rat43_as_certified(start):
    fit = fit_law(rat43, RAT43_X, RAT43_Y, start=start)
    assert isinstance(fit, FittedLaw)
    assert list(fit.values.values()) == pytest.approx(RAT43_B, rel=DIGITS)
    assert list(fit.errors.values()) == pytest.approx(RAT43_SE, rel=1e-5)
    assert fit.residual_sum_of_squares == pytest.approx(RAT43_RSS, rel=1e-9)
    assert fit.residual_spread == pytest.approx(RAT43_SD, rel=1e-9)


@pytest.mark.parametrize("b", [(100, 1, 0.1), (75, 2.5, 0.07)], ids=["start 1", "start 2"])
def test_rat42_in_lag_and_rate(b):
    """The same data through the named logistic law: b1 = A, b2 = 4 mu lag / A + 2, b3 = 4 mu / A."""
    start = {"asymptote_percent": b[0], "percent_per_day": b[0] * b[2] / 4, "lag_days": (b[1] - 2) / b[2]}
    fit = fit_law("logistic", RAT42_X, RAT42_Y, start=start, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    top, rate, lag = fit.values["asymptote_percent"], fit.values["percent_per_day"], fit.values["lag_days"]
    assert [top, 4 * rate * lag / top + 2, 4 * rate / top] == pytest.approx(RAT42_B, rel=DIGITS)
    assert fit.errors["asymptote_percent"] == pytest.approx(RAT42_SE[0], rel=DIGITS)


@pytest.mark.parametrize("b", [(100, 10, 1, 1), (700, 5, 0.75, 1.3)], ids=["start 1", "start 2"])
def test_rat43_in_lag_and_rate(b):
    """The same data through the named Richards law: nu = b4, b3 = mu/A (1+nu)^(1+1/nu), b2 = ln nu + 1 + nu + b3
    lag."""
    nu = b[3]
    rate = b[2] * b[0] / (1 + nu) ** (1 + 1 / nu)
    start = {
        "lag_days": (b[1] - np.log(nu) - 1 - nu) / b[2],
        "percent_per_day": rate,
        "shape": nu,
        "asymptote_percent": b[0],
    }
    fit = fit_law("richards", RAT43_X, RAT43_Y, start=start, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    nu, top = fit.values["shape"], fit.values["asymptote_percent"]
    slope = fit.values["percent_per_day"] / top * (1 + nu) ** (1 + 1 / nu)
    found = [top, np.log(nu) + 1 + nu + slope * fit.values["lag_days"], slope, nu]
    assert found == pytest.approx(RAT43_B, rel=1e-5)
    assert [fit.errors["asymptote_percent"], fit.errors["shape"]] == pytest.approx([RAT43_SE[0], RAT43_SE[3]], rel=1e-4)
    assert fit.residual_sum_of_squares == pytest.approx(RAT43_RSS, rel=1e-9)


def test_a_clean_sigmoid_from_its_own_first_guess():
    """Leaf lengths of Bates & Watts 1988; Asym 21.5089, xmid 6.36035, scal 1.60724 and errors refitted elsewhere."""
    days = np.arange(0.5, 15)
    length = [1.3, 1.3, 1.9, 3.4, 5.3, 7.1, 10.6, 16.0, 16.4, 18.3, 20.9, 20.5, 21.3, 21.2, 20.9]
    fit = fit_law("logistic", days, length, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    top, rate, lag = fit.values["asymptote_percent"], fit.values["percent_per_day"], fit.values["lag_days"]
    assert top == pytest.approx(21.5089, abs=5e-4)
    assert fit.errors["asymptote_percent"] == pytest.approx(0.41536, abs=5e-5)
    assert top / (4 * rate) == pytest.approx(1.60724, abs=5e-5)
    assert lag + top / (2 * rate) == pytest.approx(6.36035, abs=5e-5)


def test_a_curve_cut_off_early_does_not_claim_to_know_its_end():
    """Chick weights (Crowder & Hand 1990), cut off before the plateau: the logistic's end is 937 +- 466."""
    days = [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 21]
    weight = [42, 51, 59, 64, 76, 93, 106, 125, 149, 171, 199, 205]
    fit = fit_law("logistic", days, weight, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    assert fit.values["asymptote_percent"] == pytest.approx(937.0, rel=1e-3)
    assert fit.errors["asymptote_percent"] == pytest.approx(465.9, rel=2e-3)


def test_radial_rate_of_a_worked_colony():
    # radii by arithmetic: 3.35 mm a day after a lag of 1 day from a plug of 2.5 mm, the rim at 42.5 mm
    days = np.arange(16.0)
    radius = np.minimum(2.5 + 3.35 * np.maximum(days - 1, 0), 42.5)
    rate = fit_radial_rate(days, radius, dish_radius_mm=42.5, start_radius_mm=2.5)
    assert rate.mm_per_day == pytest.approx(3.35, abs=1e-9)
    assert rate.lag_days == pytest.approx(1.0, abs=1e-9)


def test_claimed_error_of_the_radial_rate_matches_its_scatter():
    """400 colonies with reading noise: the standard error told must equal the scatter seen; it scatters by 4 %."""
    rng = np.random.default_rng(5)
    days = np.arange(1.0, 10.0)
    fits = [
        fit_radial_rate(days, 2.5 + 4.0 * days + 0.8 * rng.standard_normal(9), dish_radius_mm=60) for _ in range(400)
    ]
    assert np.mean([f.mm_per_day for f in fits]) == pytest.approx(4.0, abs=0.02)
    told = np.sqrt(np.mean([f.error_mm_per_day**2 for f in fits]))
    assert np.std([f.mm_per_day for f in fits]) == pytest.approx(told, rel=0.12)


def test_percents_of_a_colony_give_its_rate_back():
    days = np.arange(12.0)
    percent = radial_on_dish(days, 1.5, 4.2, 43.0, 2.5)
    fit = fit_law("radial", days, percent)
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
def test_a_fit_that_cannot_be_made_says_why(days, percent, reason):
    fit = fit_law("logistic", days, percent)
    assert isinstance(fit, FailedFit)
    assert reason in fit.reason


def test_a_colony_that_does_not_grow_says_why():
    assert "does not grow" in fit_radial_rate([0, 1, 2], [9.0, 8.0, 7.0]).reason
    assert "three days" in fit_radial_rate([0, 1, 2], [2.5, 2.5, 9.0]).reason


def test_an_unknown_law_is_refused_by_name():
    with pytest.raises(ValueError, match="no growth law is named 'weibull'"):
        fit_law("weibull", [1, 2, 3, 4], [1, 2, 3, 4])


def test_a_parameter_on_its_bound_is_named():
    days = np.arange(1.0, 15)
    fit = fit_law("kjma", days, logistic(days, -6.0, 8.0))
    assert isinstance(fit, FittedLaw)
    assert "lag_days" in fit.at_bound


def test_richards_needs_no_hand_made_start():
    days = np.arange(0, 25.0)
    fit = fit_law("richards", days, richards(days, 4.0, 9.0, 0.6))
    assert fit.values == pytest.approx({"lag_days": 4.0, "percent_per_day": 9.0, "shape": 0.6}, rel=1e-5)
