"""A forecast made once, spoken from a later moment: nothing is fitted anew as long as no reading comes in."""

from dataclasses import replace

import numpy as np

from growth.data import Forecast, Status
from growth.forecast.status import WAITING_PERCENT, status_by_days


def speak_from(forecast: Forecast, as_of_day: float) -> Forecast:
    """The same forecast as of a day (since inoculation) no earlier than its last reading: percent, pace and status.

    The percent is read off the curve between its points in straight lines; without a curve nothing changes but the
    status.
    """
    if forecast.status in ("no readings", "stalled"):
        return forecast
    percent, pace = forecast.percent_now, forecast.percent_per_day
    if (curve := forecast.curve) is not None:
        before, now, after = np.interp(as_of_day + np.array([-0.5, 0.0, 0.5]), curve.days, curve.median)
        percent, pace = round(float(now), 2), round(float(after - before), 2)
    told = replace(forecast, percent_now=percent, percent_per_day=pace)
    return replace(told, status=_status(told, as_of_day))


def _status(forecast: Forecast, as_of_day: float) -> Status:
    through, ready = forecast.through_median, forecast.ready_median
    if forecast.status == "ask" or through is None or ready is None:
        return forecast.status
    shows_nothing = forecast.status == "waiting" and (forecast.percent_now or 0.0) < WAITING_PERCENT
    return status_by_days(as_of_day, through, ready, shows_nothing=shows_nothing)
