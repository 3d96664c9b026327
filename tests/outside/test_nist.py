"""Fits against certified results (NIST StRD: Rat42, Rat43) and independent refits of published data."""

import numpy as np
import pytest

from growth.fit import FittedLaw, fit_law
from tests.outside.conftest import Tell

NIST = "NIST Statistical Reference Datasets, nonlinear regression"

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

DIGITS = 1e-6  # relative: six of the eleven certified digits, the limit of double precision and a numeric Jacobian


def rat42(x, b1, b2, b3):
    return b1 / (1 + np.exp(b2 - b3 * x))


def rat43(x, b1, b2, b3, b4):
    return b1 / (1 + np.exp(b2 - b3 * x)) ** (1 / b4)


@pytest.mark.parametrize("start", [(100, 1, 0.1), (75, 2.5, 0.07)], ids=["start 1", "start 2"])
def test_rat42_as_certified(start, tell: Tell):
    fit = fit_law(rat42, RAT42_X, RAT42_Y, start=start)
    assert isinstance(fit, FittedLaw)
    assert list(fit.values.values()) == pytest.approx(RAT42_B, rel=DIGITS)
    assert list(fit.errors.values()) == pytest.approx(RAT42_SE, rel=DIGITS)
    assert fit.residual_sum_of_squares == pytest.approx(RAT42_RSS, rel=1e-9)
    assert fit.residual_spread == pytest.approx(RAT42_SD, rel=1e-9)
    got = ", ".join(f"{one:.7g}" for one in fit.values.values())
    tell(f"Rat42, parameters, from {start}", NIST, ", ".join(f"{one:.7g}" for one in RAT42_B), got)
    got = ", ".join(f"{one:.5g}" for one in fit.errors.values())
    tell(f"Rat42, standard errors, from {start}", NIST, ", ".join(f"{one:.5g}" for one in RAT42_SE), got)


@pytest.mark.parametrize("start", [(100, 10, 1, 1), (700, 5, 0.75, 1.3)], ids=["start 1", "start 2"])
def test_rat43_as_certified(start, tell: Tell):
    fit = fit_law(rat43, RAT43_X, RAT43_Y, start=start)
    assert isinstance(fit, FittedLaw)
    assert list(fit.values.values()) == pytest.approx(RAT43_B, rel=DIGITS)
    assert list(fit.errors.values()) == pytest.approx(RAT43_SE, rel=1e-5)
    assert fit.residual_sum_of_squares == pytest.approx(RAT43_RSS, rel=1e-9)
    assert fit.residual_spread == pytest.approx(RAT43_SD, rel=1e-9)
    got = ", ".join(f"{one:.7g}" for one in fit.values.values())
    tell(f"Rat43, parameters, from {start}", NIST, ", ".join(f"{one:.7g}" for one in RAT43_B), got)
    got = ", ".join(f"{one:.5g}" for one in fit.errors.values())
    tell(f"Rat43, standard errors, from {start}", NIST, ", ".join(f"{one:.5g}" for one in RAT43_SE), got)


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
    """Leaf lengths of Bates & Watts 1988; Asym 21.5089, xmid 6.36035, scal 1.60724, refitted elsewhere."""
    days = np.arange(0.5, 15)
    length = [1.3, 1.3, 1.9, 3.4, 5.3, 7.1, 10.6, 16.0, 16.4, 18.3, 20.9, 20.5, 21.3, 21.2, 20.9]
    fit = fit_law("logistic", days, length, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    top, rate, lag = fit.values["asymptote_percent"], fit.values["percent_per_day"], fit.values["lag_days"]
    assert top == pytest.approx(21.5089, abs=5e-4)
    assert fit.errors["asymptote_percent"] == pytest.approx(0.41536, abs=5e-5)
    assert top / (4 * rate) == pytest.approx(1.60724, abs=5e-5)
    assert lag + top / (2 * rate) == pytest.approx(6.36035, abs=5e-5)


def test_a_curve_cut_off_early_has_a_large_error_of_its_asymptote():
    """Chick weights (Crowder & Hand 1990), cut off before the plateau: the logistic's end is 937 +- 466."""
    days = [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 21]
    weight = [42, 51, 59, 64, 76, 93, 106, 125, 149, 171, 199, 205]
    fit = fit_law("logistic", days, weight, fit_asymptote=True)
    assert isinstance(fit, FittedLaw)
    assert fit.values["asymptote_percent"] == pytest.approx(937.0, rel=1e-3)
    assert fit.errors["asymptote_percent"] == pytest.approx(465.9, rel=2e-3)
