"""The outlook of each vessel: its readings, what they show, its cached forecast, and the days as instants."""

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
from farm.outlook.seen import Seen, SignSeen, what_is_seen
from farm.outlook.suspects import SuspectHistory, follow_suspects
from farm.outlook.vessel_readings import VesselReadings, readings_in_parts, readings_of

__all__ = [
    "Misfit",
    "Moments",
    "Outlook",
    "Seen",
    "SignSeen",
    "SuspectHistory",
    "TableForecast",
    "VesselReadings",
    "bring_up_to_date",
    "current_series",
    "daily_curve",
    "fit_alone",
    "follow_suspects",
    "forecast_table",
    "growth_settings",
    "list_outlooks",
    "list_paces",
    "readings_in_parts",
    "readings_of",
    "what_is_seen",
]
