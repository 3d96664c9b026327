"""What goes in and what comes out: series, forecasts, settings; phases and temperature."""

from growth.data.models import Curve, Drop, Forecast, OddReading, Series, Status
from growth.data.phases import Phase, Prepared, prepare
from growth.data.settings import ForecastSettings
from growth.data.temperature import USUAL_TEMPERATURE_C, pace_factor

__all__ = [
    "USUAL_TEMPERATURE_C",
    "Curve",
    "Drop",
    "Forecast",
    "ForecastSettings",
    "OddReading",
    "Phase",
    "Prepared",
    "Series",
    "Status",
    "pace_factor",
    "prepare",
]
