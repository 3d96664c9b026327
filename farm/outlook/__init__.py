"""The outlook of each vessel: its readings, its cached forecast, and the days as instants."""

from farm.outlook.outlook import (
    Misfit,
    Moments,
    Outlook,
    bring_up_to_date,
    current_series,
    daily_curve,
    fit_alone,
    growth_settings,
    list_outlooks,
    list_paces,
)
from farm.outlook.percent_table import TableForecast, forecast_table
from farm.outlook.vessel_readings import VesselReadings, readings_in_parts, readings_of

__all__ = [
    "Misfit",
    "Moments",
    "Outlook",
    "TableForecast",
    "VesselReadings",
    "bring_up_to_date",
    "current_series",
    "daily_curve",
    "fit_alone",
    "forecast_table",
    "growth_settings",
    "list_outlooks",
    "list_paces",
    "readings_in_parts",
    "readings_of",
]
