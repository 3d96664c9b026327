"""`spawnrun event`: note what was done to vessels or seen of them."""

from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, VesselsArgument, chosen_farm, instant, past_instant
from cli.printed_remarks import warn_of_closed
from cli.render import as_command, echo, say
from farm.records import add_events, chosen_vessels, ids_in_short, remove_event
from farm.store import iso


class EventChoice(StrEnum):
    """What can be done to a vessel or seen of it."""

    shaken = "shaken"
    moved = "moved"
    opened = "opened"
    pins = "pins"


def event(
    vessels: VesselsArgument,
    what: Annotated[EventChoice, typer.Argument(metavar="shaken|moved|opened|pins", help="What was done or seen.")],
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When, a day or a time; else now.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take it back; --at says which, as noted.")] = False,
    folder: FarmOption = None,
) -> None:
    """Note that vessels were shaken (their percent starts again), moved or opened, or bear pins; or take it back.

    Opened and pins say that a vessel fruits: its harvest is then due some days later, and no photo is asked for.

    Example: spawnrun event J002 shaken --at 2026-03-06T18:00; spawnrun event B001..B020 shaken
    """
    if remove and at is None:
        raise typer.BadParameter("say which with --at; `spawnrun vessel show` lists them", param_hint="--remove")
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        moment = (instant if remove else past_instant)(at, farm, "--at") or farm.now
        if remove:
            for one in chosen:
                remove_event(farm, one.id, what.value, moment)
        else:
            add_events(farm, chosen, what.value, moment)
        ids = ids_in_short(one.id for one in chosen)
        echo(f"{ids}: {what.value} at {iso(moment, farm.zone)}{' taken back' * remove}")
        if not remove:
            warn_of_closed(chosen)
            back = ("--at", iso(moment, farm.zone), "--remove")
            say(f"to take it back: {as_command('event', *vessels, what.value, *back, farm=farm)}")
