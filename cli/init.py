"""`spawnrun init`: make a farm folder."""

from pathlib import Path
from typing import Annotated

import typer

from cli.render import say
from farm import SETTINGS_FILE, NotAFarmError, create_farm, find_farm


def init(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where; made if it is not there.")] = Path(),
) -> None:
    """Make a farm folder: a settings file and empty records.

    Example: spawnrun init my-farm
    """
    with create_farm(folder) as farm:
        typer.echo(f"made a farm in {farm.folder} (settings: {farm.folder / SETTINGS_FILE})")
    if (around := _farm_around(folder)) is not None:
        say(f"it lies inside the farm {around}; commands given in it use the new one")


def _farm_around(folder: Path) -> Path | None:
    try:
        with find_farm(folder.resolve().parent) as farm:
            return farm.folder
    except NotAFarmError:
        return None
