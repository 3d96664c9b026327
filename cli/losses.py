"""`spawnrun losses`: what became of vessels, and of the lost ones at which stage and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import Annotated, Any

import typer

from cli.options import AsOfOption, FarmOption, Format, FormatOption, chosen_farm
from cli.render import Column, Record, print_list
from farm.outlook import bring_up_to_date
from farm.store import Units
from farm.study import CANNOT_TELL, FATES, Fate, LossBy, LossGroup, LossStage, loss_groups


class LossByName(StrEnum):
    """What groups are made by, as the command line takes it."""

    source = "source"
    batch = "batch"
    species = "species"
    strain = "strain"
    substrate = "substrate"
    kind = "kind"


@dataclass(frozen=True)
class LossRecord:
    """A group of `spawnrun losses`. fates, stages, reasons: counts. share, low, high: lost, 0-1, and its interval."""

    by: LossBy
    group: str
    vessels: int
    fates: dict[Fate, int]
    lost: int
    share: float
    low: float
    high: float
    verdict: str
    stages: dict[LossStage, int]
    reasons: dict[str, int]
    fresh_kg: float


def losses(
    by: Annotated[LossByName, typer.Option("--by", help="What to put side by side.")] = LossByName.source,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """What became of vessels, by source, batch or another: lost at which stage and why, used, fruited, running.

    Lost is what was confirmed as contaminated or thrown out; `spawnrun done VESSELS --as thrown-out --why REASON` tells
    why. A group is said to differ only if its 95 % interval (Wilson's) and that of all others do not overlap. By source
    it shows what a jar of spawn became, with the weight that was picked; `spawnrun trace` shows all generations.

    Example: spawnrun losses --by batch
    """
    with chosen_farm(folder, as_of) as farm:
        groups, units = loss_groups(farm, bring_up_to_date(farm), by.value), farm.units
    print_list(
        [_record(one) for one in groups], _columns(units, by), style, if_empty=f"no vessel has a {by.value} noted"
    )


def _columns(units: Units, by: LossByName) -> tuple[Column, ...]:
    """The columns; weights stand in the farm's unit."""

    def picked(one: Record) -> str:
        return units.weight(one["fresh_kg"]).split()[0] if one["fresh_kg"] else ""

    return (
        Column(by.value, lambda one: one["group"]),
        Column("vessels", lambda one: str(one["vessels"]), right=True),
        *(Column(fate, partial(_count, fate), right=True) for fate in FATES),
        Column("95 % sure", lambda one: f"{one['low']:.0%} to {one['high']:.0%}", right=True),
        Column("at which stage", lambda one: counted(one["stages"])),
        Column("why", lambda one: counted(one["reasons"])),
        Column("beside all others", lambda one: "" if one["verdict"] == CANNOT_TELL else one["verdict"]),
        Column(f"{units.weights} picked", picked, right=True),
    )


def _count(fate: Fate, one: Record) -> str:
    return str(one["fates"].get(fate, ""))


def counted(counts: Mapping[Any, int]) -> str:
    """Counts in words, such as "2 colonising, 1 fruiting"."""
    return ", ".join(f"{count} {what}" for what, count in counts.items())


def _record(one: LossGroup) -> LossRecord:
    return LossRecord(
        by=one.by,
        group=one.group,
        vessels=one.n_vessels,
        fates=one.fates,
        lost=one.n_lost,
        share=round(one.share, 4),
        low=round(one.low, 4),
        high=round(one.high, 4),
        verdict=one.verdict,
        stages=one.stages,
        reasons=one.reasons,
        fresh_kg=round(one.fresh_kg, 4),
    )
