"""A series never changes a reading silently: if the bounds exclude the single reading, they are widened and flagged."""

import pytest

from vision.days.series import SERIES_DIFFERS, covering_both
from vision.records import Reading


def reading(percent: float, low: float, high: float) -> Reading:
    return Reading("B1", "bag", "ok", percent=percent, percent_low=low, percent_high=high)


@pytest.mark.parametrize(("alone", "series"), [((62, 55, 70), (9, 5, 12)), ((9, 5, 12), (62, 55, 70))])
def test_bounds_that_exclude_each_other_are_merged(alone, series):
    both = covering_both(reading(*series), reading(*alone))
    assert both.percent == series[0]
    assert (both.percent_low, both.percent_high) == (5, 70)
    assert both.flags == (SERIES_DIFFERS,)


def test_a_reading_with_overlapping_bounds_is_unchanged():
    series = reading(40, 36, 44)
    assert covering_both(series, reading(47, 44, 50)) is series
