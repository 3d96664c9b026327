"""From readings to a growth curve, and to the day a vessel is colonised through and ready, with an interval."""

from growth.forecast import forecast
from growth.records import Curve, Forecast, Series, Status
from growth.settings import ForecastSettings

__all__ = ["Curve", "Forecast", "ForecastSettings", "Series", "Status", "forecast"]
