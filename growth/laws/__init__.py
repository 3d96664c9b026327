"""Growth laws: percent colonised as a pure function of days."""

from growth.laws.common_form import (
    GROWTH_LAWS,
    LAW_WORDS,
    LAWS,
    GrowthLaw,
    days_at,
    laws_for,
    share_at,
    spans_at,
    timing,
)
from growth.laws.curves import gompertz, kjma, linear_front, logistic, radial_on_dish, richards

__all__ = [
    "GROWTH_LAWS",
    "LAWS",
    "LAW_WORDS",
    "GrowthLaw",
    "days_at",
    "gompertz",
    "kjma",
    "laws_for",
    "linear_front",
    "logistic",
    "radial_on_dish",
    "richards",
    "share_at",
    "spans_at",
    "timing",
]
