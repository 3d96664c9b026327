"""`spawnrun compare`: species, sources, batches or substrates side by side."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration import Kind, Use
from cli.options import AsOfOption, FarmOption, Format, FormatOption, chosen_farm
from cli.printed_vessels import rounded
from cli.render import Column, Record, echo, print_list
from farm.outlook import bring_up_to_date
from farm.store import Units
from farm.study import CANNOT_TELL, Average, By, Compared, compare_groups
from report import write_comparison_plot


class ByName(StrEnum):
    """What groups are made by, as the command line takes it."""

    species = "species"
    strain = "strain"
    source = "source"
    batch = "batch"
    substrate = "substrate"


def _average(name: str, digits: int, heading: str, times: float = 1.0) -> Column:
    """times: of the number in the record, for another unit."""

    def text(value: float) -> str:
        return f"{times * value:.{digits}f}"

    def show(one: Record) -> str:
        if one[name] is None:
            return ""
        if one[f"{name}_low"] is None:
            return f"{text(one[name])} (?)"
        return f"{text(one[name])} ({text(one[f'{name}_low'])}\N{EN DASH}{text(one[f'{name}_high'])})"

    return Column(heading, show, right=True)


def _columns(units: Units) -> tuple[Column, ...]:
    """The columns of the groups; rates of colonies stand in the farm's unit."""
    is_metric = units.lengths == "cm"
    rate = ("mm a day", 2) if is_metric else ("in a day", 3)
    return (
        Column("kind", lambda one: one["kind"]),
        Column("for", lambda one: one["used_for"]),
        Column("group", lambda one: one["group"]),
        Column("vessels", lambda one: str(one["vessels"]), right=True),
        Column("batches", lambda one: str(one["batches"]), right=True),
        Column("forecast", lambda one: str(one["forecast"] or ""), right=True),
        Column("stalled", lambda one: str(one["stalled"] or ""), right=True),
        _average("days", 1, "days to through"),
        _average("percent_per_day", 1, "% a day"),
        _average("radial_mm_per_day", rate[1], rate[0], units.length_number(1.0)),
        _average("efficiency", 0, "yield, % of dry weight"),
        Column("contaminated", lambda one: f"{one['contaminated']} of {one['vessels']}", right=True),
        Column("95 % sure", lambda one: f"{one['contaminated_low']:.0%} to {one['contaminated_high']:.0%}", right=True),
        Column("beside the others of its kind and use", lambda one: "; ".join(_verdicts(one))),
        Column("caution", lambda one: "; ".join(one["cautions"])),
    )


def compare(
    by: Annotated[ByName, typer.Option("--by", help="What to put side by side.")] = ByName.species,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw it: a .png or .svg file.")
    ] = None,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """Species, sources, batches or substrates side by side, kind by kind, each number with its 95 % interval.

    Only vessels of one kind and one use are put side by side: spawn with spawn, what will fruit with what will fruit.
    Days from inoculation to colonised through (forecast for those that run), the steepest % a day, a plate's radial
    rate, the yield of what has fruited to the end (its biological efficiency: fresh weight of mushrooms in percent of
    the dry weight of substrate), and the share confirmed as contaminated. Batches are the trials that count, not
    vessels: a group differs from the others only where they are farther apart than batches of one group are, and (?)
    says that there is one batch only. Few batches and few vessels prove nothing: try a difference again.

    Why: Welch's t-test over batch means, at 5 % over all groups; Wilson's interval of the share.

    Example: spawnrun compare --by source --plot sources.svg
    """
    with chosen_farm(folder, as_of) as farm:
        groups, units = compare_groups(farm, bring_up_to_date(farm), by.value), farm.units
    print_list([_record(one) for one in groups], _columns(units), style, if_empty=f"no vessel has a {by.value} noted")
    if plot is not None:
        write_comparison_plot(groups, plot, units)
        echo(f"drawn: {plot}", err=True)


def _verdicts(one: Record) -> list[str]:
    verdicts = {
        "days to through": one["days_verdict"],
        "mm a day": one["radial_mm_per_day_verdict"],
        "yield": one["efficiency_verdict"],
        "contamination": one["contaminated_verdict"],
    }
    differing = [f"{what}: {verdict}" for what, verdict in verdicts.items() if verdict not in (None, CANNOT_TELL)]
    return differing or [CANNOT_TELL]


@dataclass(frozen=True)
class ComparedRecord:
    """A group of one kind of `spawnrun compare`; low and high are 95 % intervals. forecast: vessels whose days are so.

    *_units: batches (or vessels) that were averaged; *_verdict: beside the other groups of the kind and use.
    """

    by: By
    kind: Kind
    used_for: Use
    group: str
    vessels: int
    batches: int
    forecast: int
    stalled: int
    days: float | None
    days_low: float | None
    days_high: float | None
    days_units: int | None
    days_verdict: str | None
    percent_per_day: float | None
    percent_per_day_low: float | None
    percent_per_day_high: float | None
    percent_per_day_units: int | None
    percent_per_day_verdict: str | None
    radial_mm_per_day: float | None
    radial_mm_per_day_low: float | None
    radial_mm_per_day_high: float | None
    radial_mm_per_day_units: int | None
    radial_mm_per_day_verdict: str | None
    finished: int
    efficiency: float | None
    efficiency_low: float | None
    efficiency_high: float | None
    efficiency_units: int | None
    efficiency_verdict: str | None
    contaminated: int
    contaminated_share: float
    contaminated_low: float
    contaminated_high: float
    contaminated_verdict: str
    cautions: tuple[str, ...]


def _record(one: Compared) -> ComparedRecord:
    return ComparedRecord(
        by=one.by,
        kind=one.kind,
        used_for=one.used_for,
        group=one.group,
        vessels=one.n_vessels,
        batches=one.n_batches,
        forecast=one.n_forecast,
        stalled=one.n_stalled,
        **_ends("days", one.days),
        **_ends("percent_per_day", one.percent_per_day),
        **_ends("radial_mm_per_day", one.radial_mm_per_day),
        finished=one.n_finished,
        **_ends("efficiency", one.efficiency),
        contaminated=one.n_contaminated,
        contaminated_share=round(one.share, 4),
        contaminated_low=round(one.low, 4),
        contaminated_high=round(one.high, 4),
        contaminated_verdict=one.verdict,
        cautions=one.cautions,
    )


def _ends(name: str, average: Average | None) -> dict[str, Any]:
    return {
        name: None if average is None else rounded(average.mean),
        f"{name}_low": None if average is None else rounded(average.low),
        f"{name}_high": None if average is None else rounded(average.high),
        f"{name}_units": None if average is None else average.units,
        f"{name}_verdict": None if average is None else average.verdict,
    }
