"""A forecast as of a later day, without fitting again: possible as long as no new reading has come in."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace

from growth.data.models import Forecast, Status
from growth.data.status import WAITING_PERCENT, status_by_days


def forecast_as_of(forecast: Forecast, as_of_day: float) -> Forecast:
    """The forecast with percent, pace and status as of a later day (since inoculation).

    The day must not be earlier than the last reading. The percent is interpolated linearly on the curve; without a
    curve only the status changes.
    """
    if forecast.status in ("no readings", "stalled"):
        return forecast
    percent, pace = forecast.percent_now, forecast.percent_per_day
    if (curve := forecast.curve) is not None:
        before, now, after = (_between(as_of_day + some, curve.days, curve.median) for some in (-0.5, 0.0, 0.5))
        percent, pace = round(now, 2), round(after - before, 2)
    return replace(forecast, percent_now=percent, percent_per_day=pace, status=_status(forecast, percent, as_of_day))


def _between(at: float, days: Sequence[float], values: Sequence[float]) -> float:
    """The value at a day on straight lines between the points; before and after them, the first and the last."""
    if at <= days[0]:
        return values[0]
    if at >= days[-1]:
        return values[-1]
    right = bisect_right(days, at)
    left = right - 1
    return (values[right] - values[left]) / (days[right] - days[left]) * (at - days[left]) + values[left]


def _status(forecast: Forecast, percent: float | None, as_of_day: float) -> Status:
    through, ready = forecast.through_median, forecast.ready_median
    if forecast.status == "dropped" or through is None or ready is None:
        return forecast.status
    shows_nothing = forecast.status == "waiting" and (percent or 0.0) < WAITING_PERCENT
    return status_by_days(as_of_day, through, ready, shows_nothing=shows_nothing)
