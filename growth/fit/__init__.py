"""Fitting laws to readings: one curve alone, or all vessels of a farm pooled by batch and group."""

from growth.fit.arrays import Gathered, Group
from growth.fit.colony_rate import ColonyRate, rate_colony
from growth.fit.farm_fit import survey_again, survey_farm, teach
from growth.fit.farm_fit_result import Surveyed
from growth.fit.hierarchy import Sites, spread_parts
from growth.fit.law_average import weighted_quantiles
from growth.fit.learned_priors import Taught
from growth.fit.single_curve import FailedFit, FittedLaw, RadialRate, fit_law, fit_radial_rate

__all__ = [
    "ColonyRate",
    "FailedFit",
    "FittedLaw",
    "Gathered",
    "Group",
    "RadialRate",
    "Sites",
    "Surveyed",
    "Taught",
    "fit_law",
    "fit_radial_rate",
    "rate_colony",
    "spread_parts",
    "survey_again",
    "survey_farm",
    "teach",
    "weighted_quantiles",
]
