"""What goes in and what comes out: series, forecasts, settings; status at a later day, temperature. Needs no numpy."""

from growth.data.as_of import forecast_as_of
from growth.data.models import Curve, Drop, Forecast, OddReading, Series, Status
from growth.data.settings import ForecastSettings
from growth.data.status import WAITING_PERCENT, status_by_days
from growth.data.temperature import USUAL_TEMPERATURE_C, pace_factor

__all__ = [
    "USUAL_TEMPERATURE_C",
    "WAITING_PERCENT",
    "Curve",
    "Drop",
    "Forecast",
    "ForecastSettings",
    "OddReading",
    "Series",
    "Status",
    "forecast_as_of",
    "pace_factor",
    "status_by_days",
]
