"""What is to come for each vessel: its readings, its forecast (cached), and both as instants."""

from farm.outlook.farm_view import open_shelf
from farm.outlook.outlook import (
    Moments,
    Outlook,
    daily_curve,
    fetched_ahead,
    fit_alone,
    growth_settings,
    list_paces,
    look_ahead,
)
from farm.outlook.percent_table import TableForecast, forecast_table

__all__ = [
    "Moments",
    "Outlook",
    "TableForecast",
    "daily_curve",
    "fetched_ahead",
    "fit_alone",
    "forecast_table",
    "growth_settings",
    "list_paces",
    "look_ahead",
    "open_shelf",
]
