"""`spawnrun init`: make a farm folder."""

from pathlib import Path
from typing import Annotated

import typer

from cli.render import echo, say
from farm.store import PASSWORD_VARIABLE, SETTINGS_FILE, create_farm, find_farm
from farm.store.errors import NotAFarmError


def init(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where; made if it is not there.")] = Path(),
    records: Annotated[
        str,
        typer.Option(
            metavar="URL",
            help="Keep the records in an empty PostgreSQL database, postgresql://user@host/database, for several "
            f"stations that share the folder; a password is best given by {PASSWORD_VARIABLE}.",
        ),
    ] = "",
) -> None:
    """Make a farm folder: a settings file and empty records.

    \b
    Examples: spawnrun init my-farm
              spawnrun init /shared/farm --records postgresql://grower@server/farm
    """  # noqa: D301 - the mark that keeps lines as they are
    with create_farm(folder, records=records) as farm:
        echo(f"made a farm in {farm.folder} (settings: {farm.folder / SETTINGS_FILE})")
    if (around := _farm_around(folder)) is not None:
        say(f"it lies inside the farm {around}; commands given in it use the new one")


def _farm_around(folder: Path) -> Path | None:
    try:
        with find_farm(folder.resolve().parent) as farm:
            return farm.folder
    except NotAFarmError:
        return None
