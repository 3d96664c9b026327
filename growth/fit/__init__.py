"""Fitting laws to readings: one curve alone, or all vessels of a farm pooled by batch and group."""

from growth.fit.arrays import Gathered, Group
from growth.fit.colony_rate import ColonyRate, rate_colony
from growth.fit.farm_fit import fit_farm, learn_priors, refit_batches
from growth.fit.farm_fit_result import FarmFit
from growth.fit.hierarchy import Sites, spread_parts
from growth.fit.law_average import weighted_quantiles
from growth.fit.learned_priors import LearnedPriors
from growth.fit.phases import Phase, Prepared, prepare
from growth.fit.single_curve import FailedFit, FittedLaw, RadialRate, fit_law, fit_radial_rate

__all__ = [
    "ColonyRate",
    "FailedFit",
    "FarmFit",
    "FittedLaw",
    "Gathered",
    "Group",
    "LearnedPriors",
    "Phase",
    "Prepared",
    "RadialRate",
    "Sites",
    "fit_farm",
    "fit_law",
    "fit_radial_rate",
    "learn_priors",
    "prepare",
    "rate_colony",
    "refit_batches",
    "spread_parts",
    "weighted_quantiles",
]
