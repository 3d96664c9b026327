"""A reading of a series weighs what the series and the photo alone say; where they exclude each other, it says so."""

import pytest

from vision.days.series import SERIES_DIFFERS, of_both
from vision.records import Reading


def reading(percent: float, low: float, high: float) -> Reading:
    return Reading("B1", "bag", "ok", percent=percent, percent_low=low, percent_high=high)


@pytest.mark.parametrize(("alone", "series"), [((62, 55, 70), (9, 5, 12)), ((9, 5, 12), (62, 55, 70))])
def test_bounds_that_exclude_each_other_are_merged(alone, series):
    both = of_both(reading(*series), reading(*alone))
    assert (both.percent_low, both.percent_high) == (5, 70)
    assert both.percent == pytest.approx((62 / 15**2 + 9 / 7**2) / (1 / 15**2 + 1 / 7**2), abs=0.01)
    assert both.flags == (SERIES_DIFFERS,)


def test_two_measurements_are_weighed_by_the_inverse_squares_of_their_errors():
    # Worked by hand with the formula of inverse-variance weighting: 16 and 8 wide, so weights of 1 and 4.
    both = of_both(reading(50, 42, 58), reading(40, 36, 44))
    assert both.percent == pytest.approx((50 + 4 * 40) / 5)
    assert both.percent_low == pytest.approx((42 + 4 * 36) / 5)
    assert both.percent_high == pytest.approx((58 + 4 * 44) / 5)
    assert both.flags == ()


def test_two_equal_readings_stay_as_they_are():
    assert of_both(reading(0, 0, 0), reading(0, 0, 0)) == reading(0, 0, 0)
    assert of_both(reading(40, 36, 44), reading(40, 36, 44)) == reading(40, 36, 44)


def test_a_photo_without_a_number_of_its_own_leaves_the_series_as_it_is():
    series = reading(40, 36, 44)
    assert of_both(series, Reading("B1", "bag", "unusable")) is series
