"""`spawnrun check`: find and explain damage."""

from typing import Annotated

import typer

from cli import exits
from cli.options import FarmOption, Format, FormatOption, chosen_folder
from cli.progress import progress_bar
from cli.render import Column, print_list, say
from farm.store import open_farm
from farm.upkeep import check_farm, mend_doubles

COLUMNS = (
    Column("what", lambda one: one["what"]),
    Column("where", lambda one: one["where"]),
    Column("found", lambda one: one["found"]),
    Column("what to do", lambda one: one["advice"]),
    Column("", lambda one: "" if one["is_fault"] else "no loss"),
)


def check(
    mend: Annotated[
        bool, typer.Option("--mend", help="First take each picture that is kept twice out of the records once.")
    ] = False,
    folder: FarmOption = None,
    style: FormatOption = Format.table,
) -> None:
    """Find damage in the farm, and say what to do about each: nothing is changed without --mend.

    Looked at: the records (SQLite's own checks, rows that belong to nothing), settings of cameras, readings of unknown
    vessels, verdicts on vanished readings, series that wait, faces (missing, damaged), photos (moved, or other content
    than was measured), pictures that are kept twice. Exit code 0: nothing is lost; 3: damage was found.

    Example: spawnrun check --farm my-farm
    """
    home = chosen_folder(folder)
    if mend:
        with open_farm(home) as farm:
            for double in mend_doubles(farm):
                say(f"{double.path}: was kept twice; taken out once ({', '.join(double.vessels)})")
    with progress_bar() as progress:
        found = check_farm(home, on_progress=progress)
    print_list(found, COLUMNS, style, if_empty="no damage found")
    faults = sum(one.is_fault for one in found)
    say(f"{home}: {faults} fault{'s' * (faults != 1)}, {len(found) - faults} to know of")
    if faults:
        raise typer.Exit(exits.PARTIAL)
