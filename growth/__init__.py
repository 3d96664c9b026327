"""From readings to a growth curve, and to the day a vessel is colonised through and ready, with an interval."""

from growth.bodies import LAW_WORDS, LAWS
from growth.draws import DayDraws, draw_days
from growth.fitting import FailedFit, FittedLaw, RadialRate, fit_law, fit_radial_rate
from growth.forecast import forecast, forecast_again, forecast_and_teach
from growth.later import speak_from
from growth.laws import gompertz, kjma, linear_front, logistic, radial_on_dish, richards
from growth.pace import BatchPace, LearnedPace, learned_paces
from growth.planning import (
    Band,
    GrainSplit,
    Start,
    amount_by,
    band_of,
    days_until,
    expanded,
    latest_starts,
    places_in_use,
    spawn_kg,
    split_grain,
    substrate_kg,
    vessels_for,
    whole,
)
from growth.records import Curve, Forecast, OddReading, Series, Status
from growth.scoring import interval_score, pinball_loss
from growth.sectors import ColonyRate, Sector, rate_colony
from growth.settings import ForecastSettings
from growth.taught import Taught

__all__ = [
    "LAWS",
    "LAW_WORDS",
    "Band",
    "BatchPace",
    "ColonyRate",
    "Curve",
    "DayDraws",
    "FailedFit",
    "FittedLaw",
    "Forecast",
    "ForecastSettings",
    "GrainSplit",
    "LearnedPace",
    "OddReading",
    "RadialRate",
    "Sector",
    "Series",
    "Start",
    "Status",
    "Taught",
    "amount_by",
    "band_of",
    "days_until",
    "draw_days",
    "expanded",
    "fit_law",
    "fit_radial_rate",
    "forecast",
    "forecast_again",
    "forecast_and_teach",
    "gompertz",
    "interval_score",
    "kjma",
    "latest_starts",
    "learned_paces",
    "linear_front",
    "logistic",
    "pinball_loss",
    "places_in_use",
    "radial_on_dish",
    "rate_colony",
    "richards",
    "spawn_kg",
    "speak_from",
    "split_grain",
    "substrate_kg",
    "vessels_for",
    "whole",
]
