"""`spawnrun ready`: today's list."""

from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, Format, FormatOption, UseName, chosen_farm
from cli.printed_lists import today_record
from cli.render import Column, Group, day_text, echo, percent_text, print_cautions, print_groups, span_text
from farm.lists import list_today
from farm.outlook import bring_up_to_date
from farm.records import flag_words, list_taken_out
from farm.store import Farm, iso
from report import list_groups

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("kind", lambda one: one["kind"]),
    Column("batch", lambda one: one["batch"]),
    Column("% colonised", percent_text, right=True),
    Column("ready", lambda one: day_text(one["ready_median"])),
    Column("80 % sure", lambda one: span_text(one)),
    Column("next step", lambda one: one["next_step"]),
    Column("note", lambda one: "; ".join(filter(None, (*one["marks"], flag_words(one["flags"]))))),
)


def ready(
    days: Annotated[
        int | None, typer.Option("--days", min=0, max=365, help="How far ahead; else the farm's setting.")
    ] = None,
    use: Annotated[UseName | None, typer.Option("--use", help="Only vessels that are for this.")] = None,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """Today's list: what needs a look, what is ready, what comes in the next days, with what to do next.

    What is ready is listed by what it is for: culture to transfer, spawn to divide, substrate to fruit. The substrate
    says which, unless the vessel's record does (column use).

    Example: spawnrun ready --days 7; spawnrun ready --use fruiting
    """
    with chosen_farm(folder, as_of) as farm:
        print_today(farm, days, style, use)


def print_today(farm: Farm, days: int | None, style: Format, use: UseName | None = None) -> None:
    """Print today's list of a farm (or what of it is for one use), with the cautions if anything on it is suspect."""
    items = list_today(farm, bring_up_to_date(farm), days=days)
    if use is not None:
        items = [item for item in items if item.used_for == use.value]
    if style is Format.table:
        echo(f"{farm.folder.resolve().name}, as of {iso(farm.now, farm.zone).replace('T', ' ')}")
    ahead = farm.settings.days_ahead if days is None else days
    groups = [
        Group(
            one.heading,
            [today_record(item, farm.zone) for item in one.items],
            if_empty="none" if one.section in ("ready", "soon") else "",
        )
        for one in list_groups(items, ahead)
    ]
    print_groups(groups, COLUMNS, style)
    if style is Format.table and (out := list_taken_out(farm)):
        echo(f"\nOut as contaminated: {', '.join(one.id for one in out)}")
    suspects = [one.subject for item in items for one in item.review if one.suspect is not None]
    if style is Format.table and suspects:
        print_cautions(suspects)
