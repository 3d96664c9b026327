"""`spawnrun trace`: a vessel's lineage, its siblings, and how contamination differs between groups."""

from typing import Annotated

import typer

from cli.options import FarmOption, Format, FormatOption, chosen_farm
from cli.records import kin_record, rounded
from cli.render import Column, Group, Record, print_groups, print_list
from farm import Kin, Rate, Trace, trace_vessel

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("kind", lambda one: one["kind"]),
    Column("shares", lambda one: ", ".join(one["shares"])),
    Column("steps", lambda one: f"{one['steps']:+d}" if one["steps"] else "", right=True),
    Column("source", lambda one: one["source"]),
    Column("batch", lambda one: one["batch"]),
    Column("shelf", lambda one: one["shelf"]),
    Column("inoculated", lambda one: one["inoculated"].replace("T", " ")),
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
    """Up and down a vessel's lineage, who shares its source, batch, day or shelf, and how such groups differ.

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
            typer.echo(f"{found.vessel.id}{': contaminated' if found.contaminated else ''}")
        print_groups(groups, COLUMNS, style)
        if style is Format.table:
            groups = [
                Group("Contamination among those that share something with it", [_rate(one) for one in found.shared]),
                Group("Contamination by other sources", [_rate(one) for one in _others(found)]),
            ]
            print_groups(groups, RATE_COLUMNS, style)


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


def _rate(one: Rate) -> Record:
    return {
        "what": one.what,
        "name": one.name,
        "contaminated": one.contaminated,
        "vessels": one.vessels,
        "share": rounded(one.share, 4),
        "low": rounded(one.low, 4),
        "high": rounded(one.high, 4),
        "verdict": one.verdict,
    }
