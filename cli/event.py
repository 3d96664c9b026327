"""`spawnrun event`: note what was done to vessels or seen of them."""

from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, VesselsArgument, chosen_farm, instant, past_instant
from cli.printed_remarks import warn_of_closed
from cli.render import as_command, echo, say
from farm.records import add_events, chosen_vessels, ids_in_short, list_events, remove_event
from farm.store import Farm, iso
from farm.store.errors import EventError


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
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        if remove and at is None:
            raise EventError(_which(farm, [one.id for one in chosen], what.value))
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
            others = [one.id for one in chosen if one.used_for != "fruiting"]
            if others and what in (EventChoice.opened, EventChoice.pins):
                say(f"warning: not for fruiting, as its record or its substrate tells: {ids_in_short(others)}")
            back = ("--at", iso(moment, farm.zone), "--remove")
            say(f"to take it back: {as_command('event', *vessels, what.value, *back, farm=farm)}")


def _which(farm: Farm, ids: list[str], what: str) -> str:
    """The moments at which that was noted of vessels, for who takes one back without saying which."""
    alike: dict[str, list[str]] = {}
    for one in list_events(farm, ids):
        if one.event == what:
            alike.setdefault(iso(one.at, farm.zone), []).append(one.vessel)
    noted = "; ".join(f"{ids_in_short(some)}: {what} at {at}" for at, some in alike.items())
    return f"{noted}; say which with --at" if noted else f"no '{what}' is noted of {ids_in_short(ids)}"
