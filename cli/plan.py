"""`spawnrun plan`: what can be inoculated and when, and a goal worked backwards."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import StrEnum
from typing import Annotated, Literal

import typer

from calibration import USES, Kind, Use, species_name, vessel_uses
from cli.options import AsOfOption, FarmOption, Format, FormatOption, chosen_farm
from cli.printed_harvests import print_harvests
from cli.render import Column, Group, Record, echo, print_groups, print_list
from farm.lists import TodayItem, is_outdated, sort_into_sections
from farm.outlook import bring_up_to_date
from farm.plan import (
    Amount,
    Part,
    Plan,
    PlanLine,
    TargetPlan,
    TargetStep,
    make_plan,
    parse_target,
    plan_target,
)
from farm.records import ids_in_short
from farm.review import review_items, vessels_to_look_at
from farm.store import Farm, Units, day_words
from report import HEAT_CAUTIONS


class GrainTo(StrEnum):
    """Where colonised grain goes, as the command line takes it."""

    bulk = "bulk"
    grain = "grain"


HEADINGS: dict[Part, str] = {
    "ready": "Ready to use, and what it makes (all that is ready by the end of the day; either, not both)",
    "prepare": "To have ready for it, cool enough to inoculate (in all, from now)",
    "places": "Fruiting places taken",
}


def _columns(units: Units) -> tuple[Column, ...]:
    """The columns of the plan; weights stand in the farm's unit."""
    return (
        Column("by the end of", lambda one: _day(one["date"])),
        Column("species", lambda one: species_name(one["species"])),
        Column("what", lambda one: one["what"] + (f" ({units.weights})" if one["unit"] == "kg" else "")),
        Column("low", lambda one: _shown(one, "low", units), right=True),
        Column("median", lambda one: _shown(one, "median", units), right=True),
        Column("high", lambda one: _shown(one, "high", units), right=True),
        Column("makes (low to high)", lambda one: ", or ".join(map(_makes, one["makes"]))),
        Column("begin", lambda one: "" if one["begin"] is None else "now" if one["begin_now"] else _day(one["begin"])),
        Column("how", lambda one: one["how"]),
    )


def _step_columns(units: Units) -> tuple[Column, ...]:
    """The columns of the steps of a goal."""
    return (
        Column("begin substrate", lambda one: _day(one["begin"])),
        Column("inoculate by", lambda one: _day(one["start_by"])),
        Column("at even odds by", lambda one: _day(one["start_even"])),
        Column("what", lambda one: f"{one['vessels']} {one['kind']}{'s' * (one['vessels'] != 1)}"),
        Column(
            "on",
            lambda one: (
                (one["substrate"] or "its substrate")
                + ("" if one["kg"] is None else f", {units.weight(one['kg'])}")
                + f": {one['how']}"
            ),
        ),
        Column("from", lambda one: one["source"]),
    )


@dataclass(frozen=True)
class AmountRecord:
    """How much of something, as low, median and high of draws. unit: vessels, kg or places."""

    what: str
    unit: str
    low: float
    median: float
    high: float


@dataclass(frozen=True)
class PlanRecord:
    """A line of `spawnrun plan`. date, begin: calendar days; makes: either of them, not all of them."""

    part: Part
    date: str
    species: str
    what: str
    unit: str
    low: float
    median: float
    high: float
    makes: tuple[AmountRecord, ...]
    begin: str | None
    begin_now: bool
    how: str


@dataclass(frozen=True)
class TargetRecord:
    """The goal of `spawnrun plan --target`, then its steps; what does not belong to a part is empty.

    by, earliest, begin, start_by, start_even: calendar days.
    """

    part: Literal["goal", "step"]
    kind: Kind
    vessels: int
    species: str | None = None
    used_for: Use | None = None
    by: str | None = None
    running: int | None = None
    can_be_met: bool | None = None
    even_odds: bool | None = None
    at_most: int | None = None
    earliest: str | None = None
    loss: str | None = None
    source: str | None = None
    substrate: str | None = None
    kg: float | None = None
    begin: str | None = None
    start_by: str | None = None
    start_even: str | None = None
    how: str | None = None


def plan(
    target: Annotated[
        str | None, typer.Option("--target", metavar="GOAL", help="Work back from '40 oyster blocks by 2026-12-12'.")
    ] = None,
    anew: Annotated[bool, typer.Option("--anew", help="With --target: count no running vessel.")] = False,
    days: Annotated[int, typer.Option("--days", min=0, max=365, help="How far ahead.")] = 28,
    species: Annotated[str, typer.Option("--species", help="Only this one.")] = "",
    grain_to: Annotated[
        GrainTo, typer.Option("--grain-to", help="What spawn is for: sets what must be made ready.")
    ] = GrainTo.bulk,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """What can be inoculated, and when; what must be sterilised or pasteurised by which day; places and harvests.

    Low, median and high are of draws of the whole farm's forecasts: nine times in ten there is at least the low number.
    Not counted are vessels that need a look first and those of which no photo was read yet. Ratios, weights and days of
    preparing are common practice; farm.toml sets your own under [plan], and any species' numbers. The weight of
    harvests is learned from your own: per kg of dry substrate, by flush. A goal is worked back to the days on which
    each step must start; "20 oyster bags for fruiting" or "on sawdust" says what they are for.

    Example: spawnrun plan --days 14; spawnrun plan --target "40 oyster blocks on straw by 2026-12-12"
    """
    with chosen_farm(folder, as_of) as farm:
        outlooks = bring_up_to_date(farm)
        items = review_items(farm, outlooks)
        left_out = vessels_to_look_at(items)
        if target is None:
            _print_plan(_made(farm, left_out, days, species, grain_to), farm.units, style)
            if style is Format.table:
                _print_outdated(sort_into_sections(farm, outlooks, items), farm.now)
                _print_heat_cautions()
        else:
            _print_target(
                plan_target(farm, parse_target(target, farm.settings.date_order), left_out, anew=anew),
                farm.units,
                style,
            )


def _made(farm: Farm, left_out: Sequence[str], days: int, species: str, grain_to: GrainTo) -> Plan:
    return make_plan(farm, left_out, days=days, species=species, grain_use=grain_to.value)


def _print_plan(made: Plan, units: Units, style: Format) -> None:
    if style is not Format.table:
        print_list([_record(line) for line in made.lines], (), style)
        return
    groups = [
        Group(heading, [_record(line) for line in made.part(part)], "nothing within these days")
        for part, heading in HEADINGS.items()
    ]
    print_groups(groups, _columns(units), style)
    print_harvests([_record(line) for line in made.part("harvest")], made, units)
    if made.places is not None:
        full = "not within these days" if made.full_on is None else _day(made.full_on.isoformat())
        echo(f"\n{made.places} fruiting places: more wanted than there are from {full}")
    if made.left_out:
        echo(f"\nNot counted, because they need a look first: {ids_in_short(made.left_out)}")
    if made.stalled:
        echo(f"\nNot counted, because their growth has stopped: {ids_in_short(made.stalled)}")
    _print_unread(made.unread)
    if made.assumed:
        uses = {use: ids_in_short(one.id for one in made.assumed if one.used_for == use) for use in USES}
        named = "; ".join(f"{ids} ({use})" for use, ids in uses.items() if ids)
        echo(f"\nCounted as is usual for their kind, because their substrate does not tell what they are for: {named}")


def _print_target(made: TargetPlan, units: Units, style: Format) -> None:
    steps = [_step_record(step) for step in made.steps]
    if style is not Format.table:
        print_list([_goal_record(made), *steps], (), style)
        return
    goal = made.target
    on = f" on {goal.substrate}" if goal.substrate else ""
    ready = "ready" if goal.use is None else vessel_uses()[goal.use].ready
    what = f"{goal.wanted} {species_name(goal.species)} {goal.kind}{'s' * (goal.wanted != 1)}{on}"
    echo(f"{what}, {ready} by the end of {_day(goal.by.isoformat())}")
    if made.assumed:
        echo(f"  taken for {goal.use}, as is usual for a {goal.kind}: say 'on sawdust' or 'for fruiting' if not so")
    if made.running:
        echo(f"  of these from vessels that run already (90 % sure): at least {made.running}")
    if made.can_be_met:
        echo("  can be met, nine times in ten" + ("" if steps else ": nothing more to inoculate"))
    else:
        earliest = "none in two years" if made.earliest is None else _day(made.earliest.isoformat())
        odds = "at even odds it can" if made.even_odds else "nor at even odds"
        echo(f"  CANNOT be met nine times in ten ({odds}): a step would have had to begin before today.")
        echo(f"  By that day, nine times in ten, at most {made.at_most}; all of them not before {earliest}.")
    echo("")
    print_list(steps, _step_columns(units), style, if_empty="no step is left")
    _print_unread(made.unread)
    echo(f"\n{made.loss}")
    _print_heat_cautions()


def _print_outdated(items: Sequence[TodayItem], moment: datetime) -> None:
    """Say which were ready in a photo that is too old to call them so on today's list."""
    old = [one.outlook.vessel.id for one in items if one.section == "due" and is_outdated(one.outlook, moment)]
    if old:
        echo(f"\nCounted as they were in their last photo, which is weeks old: {ids_in_short(old)}")


def _print_unread(vessels: Sequence[str]) -> None:
    if vessels:
        echo(f"\nNot counted, because no photo of them was read yet ({len(vessels)}): {ids_in_short(vessels)}")


def _print_heat_cautions() -> None:
    first, *others = HEAT_CAUTIONS
    echo(f"\n{first}")
    for caution in others:
        echo(f"  - {caution}")


def _record(line: PlanLine) -> PlanRecord:
    return PlanRecord(
        part=line.part,
        date=line.day.isoformat(),
        species=line.species,
        **vars(_amount(line.amount)),
        makes=tuple(map(_amount, line.makes)),
        begin=None if line.begin is None else line.begin.isoformat(),
        begin_now=line.begin_now,
        how=line.how,
    )


def _amount(one: Amount) -> AmountRecord:
    band = one.band
    return AmountRecord(one.what, one.unit, round(band.low, 2), round(band.median, 2), round(band.high, 2))


def _goal_record(made: TargetPlan) -> TargetRecord:
    goal = made.target
    return TargetRecord(
        part="goal",
        kind=goal.kind,
        vessels=goal.wanted,
        species=goal.species,
        used_for=goal.use,
        substrate=goal.substrate or None,
        by=goal.by.isoformat(),
        running=made.running,
        can_be_met=made.can_be_met,
        even_odds=made.even_odds,
        at_most=made.at_most,
        earliest=None if made.earliest is None else made.earliest.isoformat(),
        loss=made.loss,
    )


def _step_record(step: TargetStep) -> TargetRecord:
    return TargetRecord(
        part="step",
        kind=step.kind,
        vessels=step.vessels,
        source=step.source,
        substrate=step.substrate,
        kg=step.kg,
        begin=step.begin.isoformat(),
        start_by=step.start_by.isoformat(),
        start_even=step.start_even.isoformat(),
        how=step.how,
    )


def _makes(one: Record) -> str:
    span = _number(one["low"]) if one["low"] == one["high"] else f"{_number(one['low'])} to {_number(one['high'])}"
    return f"{_number(one['median'])} {one['what']} ({span})"


def _shown(one: Record, name: str, units: Units) -> str:
    """A number of a line: weights to whole units of the farm's, others as they are."""
    if one["unit"] == "kg" and units.weights != "kg":
        return f"{units.weight_number(one[name]):.0f}"
    return _number(one[name])


def _number(value: float) -> str:
    return f"{value:.10g}"


def _day(day: str) -> str:
    return day_words(datetime.combine(date.fromisoformat(day), time()))
