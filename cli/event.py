"""`spawnrun event`: note what was done to a vessel."""

from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, chosen_farm, instant
from cli.render import echo
from farm.records import add_event, remove_event
from farm.store import iso


class EventChoice(StrEnum):
    """What can be done to a vessel that its photos should know of."""

    shaken = "shaken"
    moved = "moved"
    opened = "opened"


def event(
    vessel: Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")],
    what: Annotated[EventChoice, typer.Argument(metavar="shaken|moved|opened", help="What was done.")],
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When (ISO 8601); else now.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take it back; --at says which, as noted.")] = False,
    folder: FarmOption = None,
) -> None:
    """Note that a vessel was shaken (its percent starts again), moved or opened; or take such a note back.

    Example: spawnrun event J002 shaken --at 2026-03-06T18:00
    """
    if remove and at is None:
        raise typer.BadParameter("say which with --at; `spawnrun vessel show` lists them", param_hint="--remove")
    with chosen_farm(folder) as farm:
        moment = instant(at, farm.zone, "--at") or farm.now
        if remove:
            remove_event(farm, vessel, what.value, moment)
            echo(f"{vessel}: {what.value} at {iso(moment, farm.zone)} taken back")
        else:
            noted = add_event(farm, vessel, what.value, moment)
            echo(f"{noted.vessel}: {noted.event} at {iso(noted.at, farm.zone)}")
