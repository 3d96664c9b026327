"""Growth laws against published values and elementary geometry, and with every degenerate parameter."""

import inspect
from math import acos, pi, sqrt

import numpy as np
import pytest

from growth.laws import curves as module
from growth.laws import gompertz, kjma, linear_front, logistic, radial_on_dish, richards

# Worked times of Zwietering's lag and rate forms (Zwietering et al. 1990, Appl. Environ. Microbiol. 56: 1875-1881) for
# A = 100, mu = 10, lag = 3; recomputed independently of this project.


@pytest.mark.parametrize(
    ("day", "percent"),
    [
        (8.0, 50),
        (13.493061443340551, 90),
        (15.361097447916098, 95),
        (19.48779962533647, 99),
        (0, 3.9165722797),
        (10, 68.9974481128),
    ],
)
def test_logistic_passes_through_the_published_times(day, percent):
    assert logistic(day, 3.0, 10.0) == pytest.approx(percent, abs=1e-8)


@pytest.mark.parametrize(
    ("day", "percent"),
    [
        (8.027120095771384, 50),
        (14.95743315973617, 90),
        (17.605532095591464, 95),
        (23.601797680232526, 99),
        (0, 0.2146208358),
        (10, 66.6687432548),
    ],
)
def test_gompertz_passes_through_the_published_times(day, percent):
    assert gompertz(day, 3.0, 10.0) == pytest.approx(percent, abs=1e-8)


@pytest.mark.parametrize(
    ("shape", "day", "percent"),
    [(0.5, 8.0022, 50), (0.5, 14.0338, 90), (0.5, 21.0671, 99), (2.0, 12.898, 90), (2.0, 17.6071, 99)],
)
def test_richards_passes_through_the_published_times(shape, day, percent):
    # the published times have four decimals; at a slope of at most 10 % a day that is 0.001 %
    assert richards(day, 3.0, 10.0, shape) == pytest.approx(percent, abs=2e-3)


@pytest.mark.parametrize(("shape", "percent"), [(0.5, 68.1826505679), (2.0, 69.7168204377)])
def test_richards_on_day_ten(shape, percent):
    assert richards(10.0, 3.0, 10.0, shape) == pytest.approx(percent, abs=1e-8)


def test_richards_is_the_logistic_at_one_and_tends_to_the_gompertz_at_zero():
    days = np.linspace(0, 30, 61)
    np.testing.assert_allclose(richards(days, 3.0, 10.0, 1.0), logistic(days, 3.0, 10.0), atol=1e-9)
    np.testing.assert_allclose(richards(days, 3.0, 10.0, 1e-6), gompertz(days, 3.0, 10.0), atol=1e-3)


@pytest.mark.parametrize("law", [logistic, gompertz, lambda t, lag, mu: richards(t, lag, mu, 0.4)])
def test_steepest_slope_is_the_rate_and_its_tangent_meets_zero_at_the_lag(law):
    days = np.linspace(0, 30, 300001)
    percent = law(days, 3.0, 10.0)
    slope = np.gradient(percent, days)
    steepest = slope.argmax()
    assert slope[steepest] == pytest.approx(10.0, abs=1e-5)
    assert days[steepest] - percent[steepest] / slope[steepest] == pytest.approx(3.0, abs=1e-4)


def test_impingement_is_avramis_equation():
    # Avrami 1939: after one characteristic time 1 - 1/e is transformed, whatever the order
    for order in (1.0, 2.0, 3.0):
        assert kjma(2.0 + 1 / 0.25, 2.0, 0.25, order) == pytest.approx(100 * (1 - np.exp(-1)), abs=1e-9)
    # and ln(-ln(1 - X)) is a straight line of slope n on ln(t - lag)
    days = np.array([3.0, 5.0, 8.0])
    line = np.log(-np.log1p(-kjma(days, 2.0, 0.15, 2.5) / 100))
    np.testing.assert_allclose(np.diff(line) / np.diff(np.log(days - 2.0)), 2.5, atol=1e-9)


def test_linear_front_is_a_line_in_percent():
    # a front of K mm a day down H mm covers 100 K (t - lag) / H (arithmetic)
    np.testing.assert_allclose(linear_front([1, 2, 6, 12, 30], 2.0, 100 * 6 / 60), [0, 0, 40, 100, 100])


# Colony of 3.35 mm a day (mean of 28 strains at 25 C, Soylu et al. 2016, Acta Hort. 1123: 207-214) from a plug of 2.5
# mm with a lag of 1 day on a dish of 42.5 mm radius; percents by arithmetic.
RADIAL = [(2, 1.8947), (5, 13.9964), (7, 28.2774), (10, 59.0185), (12, 85.7258), (13, 100.0)]


@pytest.mark.parametrize(("day", "percent"), RADIAL)
def test_radial_law_on_a_dish_passes_through_the_computed_days(day, percent):
    assert radial_on_dish(day, 1.0, 3.35, 42.5, 2.5) == pytest.approx(percent, abs=5e-5)


def test_half_the_radius_covers_a_quarter():
    assert radial_on_dish(4.0, 0.0, 10.0, 80.0, 0.0) == pytest.approx(25.0, abs=1e-9)


def test_colony_off_centre_is_cut_by_the_rim():
    # two circles of one radius whose centres lie that radius apart share 2/3 pi - sqrt(3)/2 of r^2 (geometry)
    lens = (2 * pi / 3 - sqrt(3) / 2) / pi * 100
    assert radial_on_dish(1.0, 0.0, 40.0, 40.0, 0.0, 40.0) == pytest.approx(lens, abs=1e-4)
    # a general pair, by the two segments
    r, d = 0.8, 0.5
    near, far = acos((d * d + r * r - 1) / (2 * d * r)), acos((d * d + 1 - r * r) / (2 * d))
    area = r * r * (near - np.sin(2 * near) / 2) + far - np.sin(2 * far) / 2
    assert radial_on_dish(1.0, 0.0, 32.0, 40.0, 0.0, 20.0) == pytest.approx(100 * area / pi, abs=1e-4)


LAWS = [kjma, logistic, gompertz, richards, linear_front, radial_on_dish]


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("value", [0.0, -3.0, 1e-300, 1e300, -1e300])
def test_every_law_is_finite_for_every_degenerate_parameter(law, value):
    names = list(inspect.signature(law).parameters)[1:]
    usual = {"lag_days": 2.0, "dish_radius_mm": 43.0, "inoculum_radius_mm": 2.5, "asymptote_percent": 100.0}
    days = np.array([-1.0, 0.0, 2.0, 9.5, 1e4])
    for name in names:
        parameters = {n: usual.get(n, 1.5) for n in names} | {name: value}
        with np.errstate(over="ignore"):
            percent = law(days, **parameters)
        assert np.isfinite(percent).all(), (law.__name__, name, value)


@pytest.mark.parametrize(
    ("guess", "law", "truth"),
    [
        (module.guess_kjma, kjma, (3.0, 0.12, 2.2)),
        (module.guess_logistic, logistic, (3.0, 8.0)),
        (module.guess_gompertz, gompertz, (3.0, 8.0)),
        (module.guess_richards, richards, (3.0, 8.0, 0.7)),
        (module.guess_linear_front, linear_front, (3.0, 8.0)),
        (module.guess_radial_on_dish, radial_on_dish, (2.0, 3.0)),
    ],
)
def test_first_guess_is_close_to_the_true_curve(guess, law, truth):
    days = np.arange(0, 25.0)
    percent = law(days, *truth)
    again = law(days, *guess(days, percent))
    assert np.abs(again - percent).max() < 15


@pytest.mark.parametrize("percent", [[0.0, 0.0, 0.0], [100.0, 100.0, 100.0], [50.0, 50.0, 50.0], [3.0, 2.0, 1.0]])
def test_first_guess_is_finite_for_readings_without_growth(percent):
    for guess in (module.guess_kjma, module.guess_logistic, module.guess_linear_front, module.guess_radial_on_dish):
        assert np.isfinite(guess([0.0, 1.0, 2.0], percent)).all()
