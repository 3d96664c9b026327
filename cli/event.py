"""`spawnrun event`: note what was done to a vessel."""

from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, chosen_farm, instant
from farm import add_event, get_vessel, iso


class EventChoice(StrEnum):
    """What can be done to a vessel that its photos should know of."""

    shaken = "shaken"
    moved = "moved"
    opened = "opened"


def event(
    vessel: Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")],
    what: Annotated[EventChoice, typer.Argument(metavar="shaken|moved|opened", help="What was done.")],
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When (ISO 8601); else now.")] = None,
    folder: FarmOption = None,
) -> None:
    """Note that a vessel was shaken (its percent starts again), moved or opened.

    Example: spawnrun event J002 shaken --at 2026-03-06T18:00
    """
    with chosen_farm(folder) as farm:
        moment = instant(at, farm.zone, "--at") or farm.now
        inoculated_at = get_vessel(farm, vessel).inoculated_at
        if moment < inoculated_at:
            before = f"{vessel} was inoculated later, {iso(inoculated_at, farm.zone)}"
            raise typer.BadParameter(f"{iso(moment, farm.zone)}: {before}", param_hint="--at")
        noted = add_event(farm, vessel, what.value, moment)
        typer.echo(f"{noted.vessel}: {noted.event} at {iso(noted.at, farm.zone)}")
