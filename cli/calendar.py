"""`spawnrun calendar`: days of readiness for a calendar."""

from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, chosen_farm
from cli.render import echo
from farm.lists import list_today
from farm.outlook import bring_up_to_date
from report import write_calendar


def calendar(
    target: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.ics", help="Where; else calendar.ics in the farm.")
    ] = None,
    as_of: AsOfOption = None,
    folder: FarmOption = None,
) -> None:
    """Write the days on which vessels are ready as a calendar (iCalendar, RFC 5545) to import or subscribe to.

    Import it again after new photos: each vessel has one event, which moves to its new day; of a vessel that is closed,
    or whose day can no longer be said, it is cancelled. Each day has one reminder, at eight.

    Example: spawnrun calendar --out ready.ics --farm my-farm
    """
    with chosen_farm(folder, as_of) as farm:
        items = list_today(farm, bring_up_to_date(farm))
        written = target or farm.folder / "calendar.ics"
        days = write_calendar(farm, items, written)
    echo(f"calendar: {written}, {days} vessel{'s' * (days != 1)} with a day")
