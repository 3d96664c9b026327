"""`spawnrun init`: make a farm folder."""

from pathlib import Path
from typing import Annotated

import typer

from farm import SETTINGS_FILE, create_farm


def init(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where; made if it is not there.")] = Path(),
) -> None:
    """Make a farm folder: a settings file and empty records.

    Example: spawnrun init my-farm
    """
    with create_farm(folder) as farm:
        typer.echo(f"made a farm in {farm.folder} (settings: {farm.folder / SETTINGS_FILE})")
