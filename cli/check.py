"""`spawnrun check`: find and explain damage."""

import typer

from cli import exits
from cli.options import FarmOption, Format, FormatOption, chosen_folder
from cli.progress import progress_bar
from cli.render import Column, print_list, say
from farm.upkeep import check_farm

COLUMNS = (
    Column("what", lambda one: one["what"]),
    Column("where", lambda one: one["where"]),
    Column("found", lambda one: one["found"]),
    Column("what to do", lambda one: one["advice"]),
    Column("", lambda one: "" if one["is_fault"] else "no loss"),
)


def check(folder: FarmOption = None, style: FormatOption = Format.table) -> None:
    """Find damage in the farm, and say what to do about each: nothing is changed.

    Looked at: the records (SQLite's own checks, rows that belong to nothing), settings of cameras, readings of unknown
    vessels, verdicts on vanished readings, series that wait, faces (missing, damaged), photos (moved, or other content
    than was measured). Exit code 0: nothing is lost; 3: damage was found.

    Example: spawnrun check --farm my-farm
    """
    home = chosen_folder(folder)
    with progress_bar() as progress:
        found = check_farm(home, on_progress=progress)
    print_list(found, COLUMNS, style, if_empty="no damage found")
    faults = sum(one.is_fault for one in found)
    say(f"{home}: {faults} fault{'s' * (faults != 1)}, {len(found) - faults} to know of")
    if faults:
        raise typer.Exit(exits.PARTIAL)
