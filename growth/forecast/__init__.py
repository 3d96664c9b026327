"""The forecast of a farm: days colonised through and ready with intervals, pace, joint draws."""

from growth.forecast.as_of import forecast_as_of
from growth.forecast.draws import draw_days
from growth.forecast.farm_forecast import forecast, forecast_and_learn, reforecast_batches
from growth.forecast.pace import LearnedPace, learned_paces

__all__ = [
    "LearnedPace",
    "draw_days",
    "forecast",
    "forecast_and_learn",
    "forecast_as_of",
    "learned_paces",
    "reforecast_batches",
]
