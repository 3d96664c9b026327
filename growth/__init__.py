"""From readings to a growth curve, and to the day a vessel is colonised through and ready, with an interval."""

from growth.bodies import LAW_WORDS, LAWS
from growth.fitting import FailedFit, FittedLaw, RadialRate, fit_law, fit_radial_rate
from growth.forecast import forecast
from growth.later import speak_from
from growth.laws import gompertz, kjma, linear_front, logistic, radial_on_dish, richards
from growth.pace import BatchPace, LearnedPace, learned_paces
from growth.records import Curve, Forecast, Series, Status
from growth.scoring import interval_score, pinball_loss
from growth.sectors import ColonyRate, Sector, rate_colony
from growth.settings import ForecastSettings

__all__ = [
    "LAWS",
    "LAW_WORDS",
    "BatchPace",
    "ColonyRate",
    "Curve",
    "FailedFit",
    "FittedLaw",
    "Forecast",
    "ForecastSettings",
    "LearnedPace",
    "RadialRate",
    "Sector",
    "Series",
    "Status",
    "fit_law",
    "fit_radial_rate",
    "forecast",
    "gompertz",
    "interval_score",
    "kjma",
    "learned_paces",
    "linear_front",
    "logistic",
    "pinball_loss",
    "radial_on_dish",
    "rate_colony",
    "richards",
    "speak_from",
]
