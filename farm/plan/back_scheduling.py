"""Back-scheduling: when each step towards a goal must start, from the goal back to running vessels or a culture."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from math import floor
from typing import TYPE_CHECKING, Any

from calibration import Kind, Use
from farm.plan.stock import (
    Stock,
    date_of,
    day_end,
    draw_stock,
    grain_ratio,
    jars_of,
    preparing,
    usual_grain,
    usual_of,
    usual_substrate,
)
from farm.plan.target import Target, TargetPlan, TargetStep, with_use
from farm.records import contents_kg, list_vessels
from farm.records.models import TAKEN_OUT
from farm.store import Farm, on_farm_clock
from farm.store.errors import PlanError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from farm.plan.arithmetic import GrainSplit, Start
    from growth.data import Series

    Array = NDArray[np.floating[Any]]

#: Future vessels drawn to represent a step; days searched for a day on which a goal can be met.
_ROWS, _FURTHEST_DAYS = 60, 730
#: With fewer vessels whose end is known, the farm's own share of losses is not used.
_FEWEST_KNOWN = 20


def plan_target(farm: Farm, target: Target, left_out: Sequence[str], *, anew: bool = False) -> TargetPlan:
    """The steps towards a goal, counting running vessels (none of them with anew), back to culture. Raises PlanError.

    left_out: ids of vessels that are not to be counted.
    """
    today = on_farm_clock(farm.now, farm.zone).date()
    if target.by < today:
        raise PlanError(f"{target.by} is past")
    target, assumed = with_use(farm, target)
    facts = _facts(farm, target, left_out, anew=anew)

    def at(wanted: int, day: date) -> "_Chain":
        return _chain(facts, wanted, day_end(farm, (day - today).days))

    chain = at(target.wanted, target.by)
    met = chain.slack_days >= 0
    days = (target.by + timedelta(days=n) for n in range(1, _FURTHEST_DAYS))
    earliest = target.by if met else next((day for day in days if at(target.wanted, day).slack_days >= 0), None)
    at_most = target.wanted if met else _largest(target.wanted, lambda wanted: at(wanted, target.by).slack_days >= 0)
    return TargetPlan(
        target=target,
        running=chain.running,
        steps=chain.steps,
        can_be_met=met,
        even_odds=chain.even_days >= 0,
        earliest=earliest,
        at_most=at_most,
        loss=facts.loss_words,
        unread=() if anew else facts.stock.unread,
        assumed=assumed,
    )


def _largest(above: int, can: Callable[[int], bool]) -> int:
    """The largest number below ``above`` that can be reached, 0 if none; every smaller number can be reached too."""
    low, high = 0, above
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if can(middle) else (low, middle)
    return low


@dataclass(frozen=True)
class _Facts:
    """The inputs of a chain of steps. waits: by step, draws of days of future vessels; rows represent all of them."""

    farm: Farm
    target: Target
    stock: Stock
    waits: "dict[str, Array]"
    grain: tuple[Kind, str]
    loss: "Array"
    loss_words: str


@dataclass(frozen=True)
class _Chain:
    """Steps first to last. slack_days: whole days left before the first must begin; negative: too late.

    even_days: the same for even odds.
    """

    steps: tuple[TargetStep, ...]
    running: int
    slack_days: int
    even_days: int


def _facts(farm: Farm, target: Target, left_out: Sequence[str], *, anew: bool) -> _Facts:
    from growth.data import Series

    grain = usual_grain(farm, target.species)
    if target.use == "spawn":
        grain = (target.kind, target.substrate or (grain[1] if grain[0] == target.kind else "grain"))
    room_c = farm.settings.temperature_c

    def to_come(step: str, use: Use | None, kind: Kind, on: str) -> "list[Series]":
        name = f"to come: {step}"
        return [
            Series(f"{name} {n}", kind, target.species, on, name, temperature_c=room_c, as_of_day=0.0, use=use)
            for n in range(_ROWS)
        ]

    plates = to_come("plate", "culture", "plate", usual_substrate(farm, target.species, "plate", "culture"))
    goal = to_come("goal", target.use, target.kind, target.substrate)
    stock = draw_stock(farm, left_out, [*plates, *to_come("grain", "spawn", *grain), *goal])
    if anew:
        stock = replace(stock, vessels=(), species=(), ready=stock.ready[:0])
    waits = {name: stock.extra[n * _ROWS : (n + 1) * _ROWS] for n, name in enumerate(("plate", "grain", "goal"))}
    loss, words = _losses(farm, stock.extra.shape[1])
    return _Facts(farm, target, stock, waits, grain, loss, words)


def _losses(farm: Farm, n_draws: int) -> "tuple[Array, str]":
    """Draws of the share of vessels that is lost, and their origin in words."""
    import numpy as np

    own = farm.settings.plan.loss_percent
    if own is not None:
        return np.full(n_draws, own / 100.0), f"{own:g} % of vessels are taken as lost (farm.toml)"
    known = [one for one in list_vessels(farm) if one.state != "running"]
    lost = sum(one.state in TAKEN_OUT for one in known)
    if len(known) < _FEWEST_KNOWN:
        note = f"no losses are counted: set loss_percent in farm.toml; {farm.settings.plan.spare_percent:g} % to spare"
        return np.zeros(n_draws), note
    share = np.random.default_rng(20).beta(lost + 0.5, len(known) - lost + 0.5, n_draws)
    return share, f"losses as in this farm so far: {lost} of {len(known)}"


def _chain(facts: _Facts, wanted: int, due: float) -> _Chain:
    target = facts.target
    if target.use == "spawn":
        steps, running = _to_spawn(facts, wanted, due)
    else:
        running = int(_sure(facts, target.use or "fruiting", due, kind=target.kind))
        steps = []
        if (still := wanted - running) > 0:
            steps = _to_goal(facts, still, due)
    today = date_of(facts.farm, 0)
    slack = min(((step.begin - today).days for step in steps), default=0)
    even = min(((step.begin + (step.start_even - step.start_by) - today).days for step in steps), default=0)
    return _Chain(tuple(steps), min(running, wanted), slack, even)


def _to_goal(facts: _Facts, still: int, due: float) -> list[TargetStep]:
    """The steps to cultures, or to vessels for fruiting, that are still missing."""
    from farm.plan.arithmetic import latest_starts, spawn_kg

    made, wait = _making(facts, "goal", still)
    start = latest_starts(due, [wait])[0]
    kind = facts.target.kind
    if facts.target.use == "culture":
        return [_step(facts, kind, made, "culture", facts.target.substrate, start, is_culture=True)]
    kg = made * contents_kg(facts.farm, kind)
    rate = usual_of(facts.farm, facts.target.species).spawn_rate_percent
    needed_kg = spawn_kg(kg, rate)
    before, used = _to_grain(facts, needed_kg, start.sure, due, [wait])
    source = f"{_weight(facts.farm, needed_kg)} of spawn ({rate:g} % of the substrate){used}"
    return [*before, _step(facts, kind, made, source, facts.target.substrate, start)]


def _to_spawn(facts: _Facts, wanted: int, due: float) -> tuple[list[TargetStep], int]:
    """The steps to jars or bags of spawn, and how many running ones count towards the goal."""
    each = contents_kg(facts.farm, facts.grain[0])
    running = int(_sure(facts, "spawn", due, lambda kind: contents_kg(facts.farm, kind)) / each + 1e-9)
    steps, _ = _to_grain(facts, wanted * each, due, due, [])
    return steps, running


def _to_grain(
    facts: _Facts, needed_kg: float, by: float, due: float, later: "Sequence[Array]"
) -> tuple[list[TargetStep], str]:
    """The steps to an amount of colonised grain by a day (days from now), and which running grain is used, in words.

    later: waits of the steps that come after, up to due.
    """
    from farm.plan.arithmetic import latest_starts, split_grain, whole

    farm, (kind, grain) = facts.farm, facts.grain
    each = contents_kg(farm, kind)
    _, usual_wait = _making(facts, "grain", whole(needed_kg / each))
    early = latest_starts(due, [usual_wait, *later])[0].sure
    split = partial(
        split_grain,
        at_last_kg=_sure(facts, "spawn", by, lambda one: contents_kg(farm, one)),
        early_kg=_sure(facts, "spawn", early, lambda one: contents_kg(farm, one)),
        culture_kg=each * _sure(facts, "culture", early, lambda one: jars_of(farm, one)),
        ratio=grain_ratio(farm),
    )
    bare = split(needed_kg)
    if bare.made_kg <= 0:
        return [], _used(farm, bare)
    made, wait = _making(facts, "grain", whole(bare.made_kg / each))
    # Spare vessels need culture too.
    parts = split(needed_kg + made * each - bare.made_kg)
    start = latest_starts(due, [wait, *later])[0]
    steps, sources = [], []
    if parts.starters_kg > 0:
        sources.append(f"{_weight(farm, parts.starters_kg)} of running grain, expanded")
    if parts.from_plates_kg > 0:
        used = whole(parts.from_plates_kg / each / jars_of(farm, "plate"))
        sources.append(f"{used} running plate{'s' * (used != 1)}")
    if parts.missing_kg > 0:
        plates = whole(parts.missing_kg / each / jars_of(farm, "plate"))
        n_plates, plate_wait = _making(facts, "plate", plates)
        plate_start = latest_starts(due, [plate_wait, wait, *later])[0]
        agar = usual_substrate(farm, facts.target.species, "plate", "culture")
        steps.append(_step(facts, "plate", n_plates, "culture", agar, plate_start, is_culture=True))
        sources.append(f"{n_plates} new plate{'s' * (n_plates != 1)}")
    return [*steps, _step(facts, kind, made, " and ".join(sources), grain, start)], _used(farm, parts)


def _used(farm: Farm, parts: "GrainSplit") -> str:
    return f", {_weight(farm, parts.used_kg)} of it from what runs" if parts.used_kg > 0 else ""


def _weight(farm: Farm, kg: float) -> str:
    """A weight to two figures in the farm's unit."""
    return f"{farm.units.weight_number(kg):.2g} {farm.units.weights}"


def _making(facts: _Facts, step: str, wanted: int) -> "tuple[int, Array]":
    """How many to inoculate so that the wanted number survives, and draws of the days until those are ready."""
    import numpy as np

    from farm.plan.arithmetic import days_until, vessels_for

    made, left = vessels_for(wanted, facts.loss, facts.farm.settings.plan.spare_percent)
    return made, days_until(facts.waits[step][:made], wanted / np.maximum(left, wanted))


def _sure(
    facts: _Facts, use: Use, by: float, each: Callable[[Kind], float] = lambda _: 1.0, *, kind: Kind | None = None
) -> float:
    """The amount that running vessels of a use (and kind) give by a day with a probability of 90 %.

    by: days from now; a day that is past counts as today.
    """
    import numpy as np

    from farm.plan.arithmetic import amount_by, band_of

    stock = facts.stock
    rows = stock.rows(facts.target.species, use, kind)
    if not rows:
        return 0.0
    weights = np.array([each(stock.vessels[n].kind) for n in rows])
    return band_of(amount_by(stock.ready[rows], np.array([max(by, 0.0)]), weights)[0]).low


def _step(
    facts: _Facts, kind: Kind, vessels: int, source: str, substrate: str, start: "Start", *, is_culture: bool = False
) -> TargetStep:
    method, lead_days = preparing(facts.farm, substrate)
    start_by = date_of(facts.farm, start.sure)
    return TargetStep(
        kind=kind,
        vessels=vessels,
        source=source,
        substrate=substrate,
        kg=None if is_culture else round(vessels * contents_kg(facts.farm, kind), 3),
        start_by=start_by,
        start_even=date_of(facts.farm, start.even),
        begin=start_by - timedelta(days=-floor(-lead_days)),
        how=method,
    )
