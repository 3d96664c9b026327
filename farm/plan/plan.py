"""What can be inoculated and when: day by day from joint draws of the forecasts, and what to make ready for it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import floor
from typing import TYPE_CHECKING, Any, Literal

from farm.plan.fruiting_ahead import FEW_BATCHES, FruitingAhead, fruiting_ahead, n_batches, weight_in_weeks
from farm.plan.stock import (
    Stock,
    date_of,
    day_end,
    draw_stock,
    grain_ratio,
    jars_of,
    planned_species,
    preparing,
    usual_grain,
    usual_of,
)
from farm.records import contents_kg, contents_of
from farm.records.models import Vessel
from farm.store import Farm, on_farm_clock

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from farm.plan.arithmetic import Band

    Array = NDArray[np.floating[Any]]

Part = Literal["ready", "prepare", "places", "harvest"]
GrainUse = Literal["bulk", "grain"]
_WEEK = 7


@dataclass(frozen=True)
class Amount:
    """An uncertain amount of something. unit: vessels or kg."""

    what: str
    unit: str
    band: "Band"


@dataclass(frozen=True)
class PlanLine:
    """One line of a plan: by the end of a day, how much there is in all from now on.

    part: ready (what can be used, and what it makes), prepare (what must be ready to inoculate; begin: the day to begin
    with it; how: the method), places (fruiting places taken), harvest (fresh weight in the week that begins on the day,
    of that week alone). makes: either of them, not all of them.
    """

    part: Part
    day: date
    species: str
    amount: Amount
    makes: tuple[Amount, ...] = ()
    begin: date | None = None
    begin_now: bool = False
    how: str = ""


@dataclass(frozen=True)
class Plan:
    """A farm's plan for some days.

    Vessels that are not counted: left_out, since they need a look first; stalled, since their growth has stopped;
    unread, since no photo of them was ever read. assumed: counted for what their kind is usually for, since neither
    record nor substrate tells it. no_weight: species of which too few vessels have fruited to expect a weight;
    few_batches: of which the weight is learned from fewer than FEW_BATCHES.
    """

    lines: tuple[PlanLine, ...]
    left_out: tuple[str, ...]
    stalled: tuple[str, ...]
    unread: tuple[str, ...]
    assumed: tuple[Vessel, ...]
    days: int
    places: int | None
    full_on: date | None
    no_weight: tuple[str, ...] = ()
    few_batches: tuple[str, ...] = ()

    def part(self, part: Part) -> list[PlanLine]:
        """Its lines of one part."""
        return [line for line in self.lines if line.part == part]


def make_plan(
    farm: Farm, left_out: Sequence[str], *, days: int = 28, species: str = "", grain_use: GrainUse = "bulk"
) -> Plan:
    """The plan for today and the given number of days after it.

    left_out: ids of vessels that are not to be counted (they need a look first). species: any name of the only one.
    grain_use: whether colonised grain is to go to bulk substrate or to more grain; it sets what must be made ready.
    A line stands only where something has changed since the day before.
    """
    stock = draw_stock(farm, left_out)
    kinds = sorted(set(stock.species) if not species else {planned_species(farm, species)} & set(stock.species))
    ends = [day_end(farm, n) for n in range(days + 1)]
    lines: list[PlanLine] = []
    for one in kinds:
        lines += _changes(_species_lines(farm, stock, one, ends, grain_use))
    ahead = fruiting_ahead(farm, stock, kinds)
    places = list(_changes(_place_lines(farm, ahead, ends)))
    harvests, unknown = _harvest_lines(farm, stock, ahead, kinds, days)
    capacity = farm.settings.plan.fruiting_places
    full = next((line.day for line in places if capacity is not None and line.amount.band.median > capacity), None)
    stalled = [one.id for one, ready in zip(stock.vessels, stock.ready, strict=True) if ready[0] != ready[0]]
    expected = dict.fromkeys(line.species for line in harvests)
    order = {"ready": 0, "prepare": 1, "places": 2, "harvest": 3}
    lines = sorted([*lines, *places, *harvests], key=lambda line: (order[line.part], line.day, line.species))
    return Plan(
        lines=tuple(lines),
        left_out=tuple(sorted(left_out)),
        stalled=tuple(stalled),
        unread=stock.unread,
        assumed=tuple(one for one in stock.vessels if one.use_is_assumed and one.id not in stalled),
        days=days,
        places=capacity,
        full_on=full,
        no_weight=unknown,
        few_batches=tuple(one for one in expected if n_batches(farm, one) < FEW_BATCHES),
    )


def _species_lines(
    farm: Farm, stock: Stock, species: str, ends: Sequence[float], grain_use: GrainUse
) -> Iterator[list[PlanLine]]:
    """Each kind of line, day after day."""
    yield from _culture_lines(farm, stock, species, ends)
    yield from _spawn_lines(farm, stock, species, ends, grain_use)
    if rows := stock.rows(species, "fruiting"):
        counts = _summed(stock, rows, ends)
        yield [
            PlanLine("ready", day, species, Amount("vessels to fruit", "vessels", _band(row)))
            for day, row in _dated(farm, counts)
        ]


def _culture_lines(farm: Farm, stock: Stock, species: str, ends: Sequence[float]) -> Iterator[list[PlanLine]]:
    rows = stock.rows(species, "culture")
    if not rows:
        return
    kind, grain = usual_grain(farm, species)
    each_kg = contents_kg(farm, kind)
    counts = _summed(stock, rows, ends)
    makes = _summed(stock, rows, ends, [jars_of(farm, stock.vessels[n].kind) for n in rows])
    days = list(_dated(farm, counts))
    yield [
        PlanLine(
            "ready",
            day,
            species,
            Amount("vessels of culture", "vessels", _band(row)),
            makes=(Amount(f"{kind}s of grain", "vessels", _band(made)),),
        )
        for (day, row), made in zip(days, makes, strict=True)
    ]
    yield _prepare_lines(farm, species, grain, days, [row * each_kg for row in makes])


def _spawn_lines(
    farm: Farm, stock: Stock, species: str, ends: Sequence[float], grain_use: GrainUse
) -> Iterator[list[PlanLine]]:
    rows = stock.rows(species, "spawn")
    if not rows:
        return
    from farm.plan.arithmetic import expanded, substrate_kg

    usual = usual_of(farm, species)
    kind, grain = usual_grain(farm, species)
    counts = _summed(stock, rows, ends)
    kg = _summed(stock, rows, ends, [contents_of(farm, stock.vessels[n]) for n in rows])
    bulk_kg = substrate_kg(kg, usual.spawn_rate_percent)
    more_kg = expanded(kg, grain_ratio(farm))
    days = list(_dated(farm, counts))
    yield [
        PlanLine(
            "ready",
            day,
            species,
            Amount("vessels of spawn", "vessels", _band(row)),
            makes=(
                Amount(f"{usual.fruiting_kind}s", "vessels", _band(_whole(bulk / usual.block_kg))),
                Amount(f"{kind}s of grain", "vessels", _band(_whole(more / contents_kg(farm, kind)))),
            ),
        )
        for (day, row), bulk, more in zip(days, bulk_kg, more_kg, strict=True)
    ]
    if grain_use == "bulk":
        yield _prepare_lines(farm, species, usual.fruiting_substrate or "bulk substrate", days, list(bulk_kg))
    else:
        yield _prepare_lines(farm, species, grain, days, list(more_kg))


def _whole(amounts: "Array") -> "Array":
    """Whole vessels that amounts suffice for."""
    import numpy as np

    return np.asarray(np.floor(amounts + 1e-9))


def _prepare_lines(
    farm: Farm,
    species: str,
    substrate: str,
    days: "Sequence[tuple[date, Array]]",
    kg: "Sequence[Array]",
) -> list[PlanLine]:
    method, lead_days = preparing(farm, substrate)
    today = date_of(farm, 0.0)
    return [
        PlanLine(
            "prepare",
            day,
            species,
            Amount(substrate, "kg", _band(amount)),
            begin=(begin := day - timedelta(days=-floor(-lead_days))),
            begin_now=begin <= today,
            how=method,
        )
        for (day, _), amount in zip(days, kg, strict=True)
    ]


def _place_lines(farm: Farm, ahead: FruitingAhead, ends: Sequence[float]) -> Iterator[list[PlanLine]]:
    """Fruiting places taken on each day, all species together: from ready (or opened) to the last flush."""
    import numpy as np

    from farm.plan.arithmetic import places_in_use

    if not ahead.rows:
        return
    taken = places_in_use(ahead.starts, ahead.held_days, np.asarray(ends))
    yield [
        PlanLine("places", day, "", Amount("fruiting places taken", "vessels", _band(row)))
        for day, row in _dated(farm, taken)
    ]


def _harvest_lines(
    farm: Farm, stock: Stock, ahead: FruitingAhead, species: Sequence[str], days: int
) -> tuple[list[PlanLine], tuple[str, ...]]:
    """Fresh weight in each week, by species; and the species of which too few have fruited to say."""
    weeks = range(max(days // _WEEK, 1))
    ends = [day_end(farm, _WEEK * week + _WEEK - 1) for week in weeks]
    today = on_farm_clock(farm.now, farm.zone).date()
    lines, unknown = [], []
    for one in species:
        if not any(stock.species[n] == one for n in ahead.rows):
            continue
        weights = weight_in_weeks(farm, stock, ahead, one, ends)
        if weights is None:
            unknown.append(one)
            continue
        bands = [_band(row) for row in weights]
        lines += [
            PlanLine("harvest", today + timedelta(days=_WEEK * week), one, Amount("fresh mushrooms", "kg", band))
            for week, band in zip(weeks, bands, strict=True)
            if band.high > 0
        ]
    return lines, tuple(unknown)


def _summed(stock: Stock, rows: Sequence[int], ends: Sequence[float], each: Sequence[float] | None = None) -> "Array":
    import numpy as np

    from farm.plan.arithmetic import amount_by

    return np.asarray(amount_by(stock.ready[rows], np.asarray(ends), None if each is None else np.asarray(each)))


def _band(draws: "Array") -> "Band":
    from farm.plan.arithmetic import band_of

    return band_of(draws)


def _dated(farm: Farm, rows: "Array") -> "Iterator[tuple[date, Array]]":
    today = on_farm_clock(farm.now, farm.zone).date()
    for n, row in enumerate(rows):
        yield today + timedelta(days=n), row


def _changes(groups: Iterator[list[PlanLine]]) -> Iterator[PlanLine]:
    """Of each run of days the first with anything on it, and those that differ from the day before."""
    for lines in groups:
        if lines[0].amount.band.high > 0:
            yield lines[0]
        yield from (line for before, line in pairwise(lines) if line.amount.band != before.amount.band)
