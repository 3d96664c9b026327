"""The forecast of a farm: days colonised through and ready with intervals, pace, joint draws."""

from growth.forecast.as_of import speak_from
from growth.forecast.draws import draw_days
from growth.forecast.farm_forecast import forecast, forecast_again, forecast_and_teach
from growth.forecast.pace import LearnedPace, learned_paces

__all__ = [
    "LearnedPace",
    "draw_days",
    "forecast",
    "forecast_again",
    "forecast_and_teach",
    "learned_paces",
    "speak_from",
]
