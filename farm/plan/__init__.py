"""Planning from the running vessels: stock, the days ahead, and back-scheduling from a target."""

from farm.plan.arithmetic import (
    Band,
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
)
from farm.plan.back_scheduling import plan_target
from farm.plan.fruiting_ahead import LEAST_FINISHED
from farm.plan.plan import Amount, Part, Plan, PlanLine, make_plan
from farm.plan.target import TargetPlan, TargetStep, parse_target

__all__ = [
    "LEAST_FINISHED",
    "Amount",
    "Band",
    "Part",
    "Plan",
    "PlanLine",
    "TargetPlan",
    "TargetStep",
    "amount_by",
    "band_of",
    "days_until",
    "expanded",
    "latest_starts",
    "make_plan",
    "parse_target",
    "places_in_use",
    "plan_target",
    "spawn_kg",
    "split_grain",
    "substrate_kg",
    "vessels_for",
]
