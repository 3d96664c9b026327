"""`spawnrun trace`: a vessel's lineage, its siblings, and how contamination differs between groups."""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Annotated

import typer

from calibration import species_name
from cli.losses import counted
from cli.options import FarmOption, Format, FormatOption, chosen_farm
from cli.printed_kin import kin_record
from cli.render import Column, Group, Twig, echo, print_groups, print_list, print_tree
from farm.outlook import list_outlooks
from farm.store import Farm, on_farm_clock
from farm.study import Branch, Kin, Rate, Trace, group_fates, lineage_tree, trace_vessel, vessel_fates

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("kind", lambda one: one["kind"]),
    Column("shares", lambda one: ", ".join(one["shares"])),
    Column("steps", lambda one: f"{one['steps']:+d}" if one["steps"] else "", right=True),
    Column("source", lambda one: one["source"]),
    Column("batch", lambda one: one["batch"]),
    Column("shelf", lambda one: one["shelf"]),
    Column("inoculated", lambda one: one["inoculated_at"].replace("T", " ")),
    Column("state", lambda one: "contaminated" if one["contaminated"] else one["state"]),
)
RATE_COLUMNS = (
    Column("what", lambda one: one["what"]),
    Column("which", lambda one: one["name"]),
    Column("contaminated", lambda one: f"{one['contaminated']} of {one['vessels']}", right=True),
    Column("95 % sure", lambda one: f"{one['low']:.0%} to {one['high']:.0%}", right=True),
    Column("beside all others", lambda one: one["verdict"]),
)


def trace(
    vessel: Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")],
    rates: Annotated[bool, typer.Option("--rates", help="Only the rates, as a list.")] = False,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """A vessel's lineage as a tree and as lists, who shares source, batch, day or shelf, and how such groups differ.

    Contaminated means confirmed by a person. A group is said to differ only if its 95 % interval (Wilson's) and that
    of all others do not overlap: one of three is no trend. JSON and CSV have the kin, or with --rates the rates.

    Example: spawnrun trace B004
    """
    with chosen_farm(folder) as farm:
        found = trace_vessel(farm, vessel)
        if rates:
            print_list([_rate(one) for one in (*found.shared, *_others(found))], RATE_COLUMNS, style)
            return
        groups = [
            Group(heading, [kin_record(one, farm.zone) for one in kin], if_empty)
            for heading, kin, if_empty in _parts(found)
        ]
        if style is Format.table:
            print_tree(_twig(lineage_tree(farm, found.vessel.id), farm.zone))
        print_groups(groups, COLUMNS, style)
        if style is Format.table:
            _print_became(farm, found)
            groups = [
                Group("Contamination among those that share something with it", [_rate(one) for one in found.shared]),
                Group("Contamination by other sources", [_rate(one) for one in _others(found)]),
            ]
            print_groups(groups, RATE_COLUMNS, style)


def _print_became(farm: Farm, found: Trace) -> None:
    """One line on what the vessels below became, of all generations."""
    below = [one.vessel for one in found.below]
    if not below:
        return
    ids = {one.id for one in below}
    fates = vessel_fates(farm, [one for one in list_outlooks(farm) if one.vessel.id in ids])
    group = group_fates("source", found.vessel.id, fates)
    told = [f"{count} {fate}" for fate, count in group.fates.items()]
    lost = "; ".join(filter(None, (counted(group.stages), counted(group.reasons))))
    told[0] += f" ({lost})" if group.n_lost else ""
    picked = f"; {farm.units.weight(group.fresh_kg)} picked" if group.fresh_kg else ""
    echo(f"\n{found.vessel.id} became {len(below)} vessel{'s' * (len(below) != 1)}: {', '.join(told)}{picked}")


def _twig(branch: Branch, zone: tzinfo | None) -> Twig:
    """A line of the lineage: what it is, how it stands; the vessel asked for is marked, siblings are counted."""
    one = branch.vessel
    facts = ["a culture that is no vessel of the farm"]
    if one is not None:
        state = "contaminated" if branch.contaminated else "" if one.state == "running" else one.state
        facts = [
            one.kind,
            species_name(one.species),
            f"inoculated {on_farm_clock(one.inoculated_at, zone):%Y-%m-%d}",
            state,
        ]
    text = f"{branch.name}{' <' * branch.asked}  {', '.join(filter(None, facts))}"
    below = [_twig(child, zone) for child in branch.children]
    if branch.others:
        below.append(Twig(f"and {branch.others} more from {branch.name}"))
    return Twig(text, below)


def _others(found: Trace) -> list[Rate]:
    """Rates of the sources that are not its own."""
    return [one for one in found.rates if one not in found.shared]


def _parts(found: Trace) -> tuple[tuple[str, tuple[Kin, ...], str], ...]:
    origin = f"from {found.origin}" if found.origin else "no source is noted"
    above = "What it comes from" + (f" (and that {origin})" if found.above and found.origin else "")
    return (
        (above, found.above, origin),
        ("What was inoculated from it", found.below, "nothing"),
        ("Siblings", found.siblings, "none"),
    )


@dataclass(frozen=True)
class RateRecord:
    """A rate of `spawnrun trace --rates`, as a share from 0 to 1 with its 95 % interval."""

    what: str
    name: str
    contaminated: int
    vessels: int
    share: float
    low: float
    high: float
    verdict: str


def _rate(one: Rate) -> RateRecord:
    return RateRecord(
        what=one.what,
        name=one.name,
        contaminated=one.contaminated,
        vessels=one.vessels,
        share=round(one.share, 4),
        low=round(one.low, 4),
        high=round(one.high, 4),
        verdict=one.verdict,
    )
