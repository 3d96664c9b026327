"""`spawnrun yields`: what vessels have yielded, side by side."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, Format, FormatOption, chosen_farm
from cli.printed_vessels import rounded
from cli.render import Column, Record, echo, print_list
from farm.store import Units
from farm.study import Average, YieldBy, YieldGroup, yield_groups
from report import FOOD_CAUTION, SPORE_CAUTION


class YieldByName(StrEnum):
    """What groups are made by, as the command line takes it."""

    vessel = "vessel"
    batch = "batch"
    strain = "strain"
    species = "species"
    source = "source"
    substrate = "substrate"
    flush = "flush"


@dataclass(frozen=True)
class YieldRecord:
    """A group of `spawnrun yields`; low and high are 95 % intervals, *_units the batches or vessels averaged.

    vessels: that fruit or have fruited; finished: of these with all that they yield. flush_kg: fresh weight by number
    of the flush. kg_each, efficiency_percent: of the finished ones.
    """

    by: YieldBy
    group: str
    vessels: int
    finished: int
    batches: int
    harvests: int
    fresh_kg: float
    flush_kg: dict[str, float]
    kg_each: float | None
    kg_each_low: float | None
    kg_each_high: float | None
    kg_each_units: int | None
    efficiency_percent: float | None
    efficiency_percent_low: float | None
    efficiency_percent_high: float | None
    efficiency_percent_units: int | None
    cautions: tuple[str, ...]


def yields(
    by: Annotated[YieldByName, typer.Option("--by", help="What to put side by side.")] = YieldByName.batch,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """What was picked, by vessel, batch, strain, species, source, substrate or flush, and how it compares.

    The weight of each vessel, and biological efficiency: the fresh weight of mushrooms in percent of the dry weight of
    the substrate that bore them. They are means over batches with their 95 % intervals, of vessels that have fruited to
    the end: the time of their usual flushes is over, or no vessel of their batch bears any more. The dry weight follows
    from a vessel's contents (column contents; else the usual of its kind) and the moisture of its substrate
    (moisture_percent in farm.toml; else the usual).

    Example: spawnrun yields --by substrate; spawnrun yields --by flush
    """
    with chosen_farm(folder, as_of) as farm:
        groups, units = yield_groups(farm, by.value), farm.units
    print_list([_record(one) for one in groups], _columns(units, by), style, if_empty="nothing fruits yet")
    if groups and style is Format.table:
        echo(f"\n{FOOD_CAUTION}\n{SPORE_CAUTION}")


def _columns(units: Units, by: YieldByName) -> tuple[Column, ...]:
    """The columns; weights stand in the farm's unit."""

    def number(kg: float) -> str:
        return units.weight(kg).split()[0]

    def by_flush(one: Record) -> str:
        return " + ".join(number(kg) for kg in one["flush_kg"].values()) if by is not YieldByName.flush else ""

    return (
        Column(by.value, lambda one: one["group"]),
        Column("vessels", lambda one: "" if by is YieldByName.vessel else str(one["vessels"]), right=True),
        Column("finished", lambda one: "" if by is YieldByName.vessel else str(one["finished"]), right=True),
        Column("batches", lambda one: "" if one["batches"] < 2 else str(one["batches"]), right=True),
        Column(units.weights, lambda one: number(one["fresh_kg"]), right=True),
        Column("by flush", by_flush),
        Column(
            f"{units.weights} each",
            lambda one: "" if by is YieldByName.vessel else _with_interval(one, "kg_each", number),
            right=True,
        ),
        Column("% of dry weight", lambda one: _with_interval(one, "efficiency_percent", "{:.0f}".format), right=True),
        Column("caution", lambda one: "; ".join(one["cautions"])),
    )


def _with_interval(one: Record, name: str, text: Callable[[float], str]) -> str:
    if one[name] is None:
        return ""
    if one[f"{name}_low"] is None:
        return text(one[name])
    return f"{text(one[name])} ({text(one[f'{name}_low'])}\N{EN DASH}{text(one[f'{name}_high'])})"


def _record(one: YieldGroup) -> YieldRecord:
    each, percent = one.kg_each, one.efficiency
    return YieldRecord(
        by=one.by,
        group=one.group,
        vessels=one.n_vessels,
        finished=one.n_finished,
        batches=one.n_batches,
        harvests=one.n_harvests,
        fresh_kg=round(one.fresh_kg, 4),
        flush_kg={str(number): round(kg, 4) for number, kg in one.flush_kg.items()},
        kg_each=_end(each, "mean", 4),
        kg_each_low=_end(each, "low", 4),
        kg_each_high=_end(each, "high", 4),
        kg_each_units=None if each is None else each.units,
        efficiency_percent=_end(percent, "mean", 1),
        efficiency_percent_low=_end(percent, "low", 1),
        efficiency_percent_high=_end(percent, "high", 1),
        efficiency_percent_units=None if percent is None else percent.units,
        cautions=one.cautions,
    )


def _end(average: Average | None, name: str, digits: int) -> float | None:
    return None if average is None else rounded(getattr(average, name), digits)
