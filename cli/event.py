"""`spawnrun event`: note what was done to a vessel."""

from datetime import datetime, timedelta
from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, chosen_farm, instant
from cli.render import echo
from farm.records import add_event, get_vessel, remove_event
from farm.store import Farm, iso, now

_CLOCKS_DIFFER = timedelta(days=1)


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
            _remove(farm, vessel, what, moment)
            return
        inoculated_at = get_vessel(farm, vessel).inoculated_at
        if moment < inoculated_at:
            before = f"{vessel} was inoculated later, {iso(inoculated_at, farm.zone)}"
            raise typer.BadParameter(f"{iso(moment, farm.zone)}: {before}", param_hint="--at")
        if moment > max(farm.now, now()) + _CLOCKS_DIFFER:
            raise typer.BadParameter(f"{iso(moment, farm.zone)} has not come yet", param_hint="--at")
        noted = add_event(farm, vessel, what.value, moment)
        echo(f"{noted.vessel}: {noted.event} at {iso(noted.at, farm.zone)}")


def _remove(farm: Farm, vessel: str, what: EventChoice, moment: datetime) -> None:
    if not remove_event(farm, vessel, what.value, moment):
        said = f"{vessel} has no '{what.value}' at {iso(moment, farm.zone)}; `spawnrun vessel show {vessel}` lists them"
        raise typer.BadParameter(said, param_hint="--at")
    echo(f"{vessel}: {what.value} at {iso(moment, farm.zone)} taken back")
