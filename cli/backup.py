"""`spawnrun backup` and `spawnrun restore`: a farm in one file, and back."""

from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from cli.options import FarmOption, chosen_farm
from cli.progress import progress_bar
from cli.render import echo, say
from farm.upkeep import back_up, restore_farm

#: Damaged faces that are named one by one.
_MOST_NAMED = 20


def backup(
    target: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Where; else FARM-DATE.zip in the working folder.")
    ] = None,
    no_faces: Annotated[
        bool, typer.Option("--no-faces", help="Leave the faces out: small, but series cannot be read again.")
    ] = False,
    folder: FarmOption = None,
) -> None:
    """Keep the farm in one file: records, settings, cameras and faces, with a checksum of each. Not the photos.

    A zip that any tool opens. It may be made while photos are being measured. Keep it on another disk. A farm on a
    server becomes one in a folder when it is restored.

    Example: spawnrun backup /media/stick/farm.zip --farm my-farm
    """
    with chosen_farm(folder) as farm, progress_bar() as progress:
        name = f"{farm.folder.resolve().name or 'farm'}-{datetime.now():%Y-%m-%d}.zip"  # noqa: DTZ005 - this machine's day
        made = back_up(farm, target or Path(name), faces=not no_faces, on_face=partial(progress, "faces"))
        is_inside = made.path.resolve().is_relative_to(farm.folder.resolve())
    echo(
        f"{made.path}: {made.vessels} vessels, {made.photos} photos' readings, {made.faces} faces; "
        f"{made.bytes / 1e6:.1f} MB, checked"
    )
    if made.lost_faces:
        say(f"warning: {made.lost_faces} faces are missing from the farm; `spawnrun check` names them")
    for vessel, photo in made.damaged_faces[:_MOST_NAMED]:
        say(f"warning: the kept face of {vessel} from {photo} is damaged, and so is its copy in the backup")
    if more := len(made.damaged_faces[_MOST_NAMED:]):
        say(f"warning: so are {more} more; `spawnrun check` names them and what to do")
    if is_inside:
        say("it lies in the farm's own folder: copy it to another disk")


def restore(
    source: Annotated[Path, typer.Argument(metavar="FILE", help="A file that `spawnrun backup` made.")],
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where; made if it is not there.")] = Path(),
) -> None:
    """Restore a farm from a backup, into a folder that has no farm.

    All of the file is checked before anything is written; damage is named. It is the same farm (its calendar goes on):
    go on with one of the two, not with both.

    Example: spawnrun restore farm.zip my-farm-again
    """
    with progress_bar() as progress, restore_farm(source, folder, on_part=partial(progress, "parts")) as farm:
        echo(f"{farm.folder}: restored from {source}")
