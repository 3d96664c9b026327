"""The forecast of a farm: days colonised through and ready with intervals, pace, joint draws."""

from growth.forecast.draws import draw_days
from growth.forecast.farm_forecast import forecast, forecast_and_learn, reforecast_batches
from growth.forecast.pace import LearnedPace, learned_paces

__all__ = [
    "LearnedPace",
    "draw_days",
    "forecast",
    "forecast_and_learn",
    "learned_paces",
    "reforecast_batches",
]
