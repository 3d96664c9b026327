"""A forecast as of a later day, without fitting again: possible as long as no new reading has come in."""

from dataclasses import replace

import numpy as np

from growth.data import Forecast, Status
from growth.forecast.status import WAITING_PERCENT, status_by_days


def forecast_as_of(forecast: Forecast, as_of_day: float) -> Forecast:
    """The forecast with percent, pace and status as of a later day (since inoculation).

    The day must not be earlier than the last reading. The percent is interpolated linearly on the curve; without a
    curve only the status changes.
    """
    if forecast.status in ("no readings", "stalled"):
        return forecast
    percent, pace = forecast.percent_now, forecast.percent_per_day
    if (curve := forecast.curve) is not None:
        before, now, after = np.interp(as_of_day + np.array([-0.5, 0.0, 0.5]), curve.days, curve.median)
        percent, pace = round(float(now), 2), round(float(after - before), 2)
    later = replace(forecast, percent_now=percent, percent_per_day=pace)
    return replace(later, status=_status(later, as_of_day))


def _status(forecast: Forecast, as_of_day: float) -> Status:
    through, ready = forecast.through_median, forecast.ready_median
    if forecast.status == "dropped" or through is None or ready is None:
        return forecast.status
    shows_nothing = forecast.status == "waiting" and (forecast.percent_now or 0.0) < WAITING_PERCENT
    return status_by_days(as_of_day, through, ready, shows_nothing=shows_nothing)
