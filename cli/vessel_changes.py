"""`spawnrun vessel move, close, note, remove, rename`: changes of vessels, of many at a time where that makes sense."""

from typing import Annotated

import typer

from cli.options import FarmOption, VesselsArgument, chosen_farm, instant
from cli.printed_remarks import warn_of_closed
from cli.render import as_command, ask_first, echo, say
from farm.records import (
    add_note,
    chosen_vessels,
    close_vessel,
    ids_in_short,
    move_vessels,
    reaches_older_note,
    remove_note,
    remove_vessels,
    rename_vessel,
    vessel_id,
)
from farm.records.models import State


def close(
    vessels: VesselsArgument,
    why: Annotated[str, typer.Option("--why", help="Kept as a note.")] = "",
    reopen: Annotated[bool, typer.Option("--reopen", help="Put it back instead.")] = False,
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When, a day or a time; else now.")] = None,
    folder: FarmOption = None,
) -> None:
    """Take vessels out of the lists (used, given away, thrown out); their records stay.

    Example: spawnrun vessel close J001 --why "expanded to ten jars"; spawnrun vessel close B001..B020
    """
    with chosen_farm(folder) as farm:
        state: State = "running" if reopen else "closed"
        moment = instant(at, farm, "--at")
        chosen = chosen_vessels(farm, vessels)
        for one in chosen:
            close_vessel(farm, one.id, state=state, why=why, at=moment)
        echo(f"{ids_in_short(one.id for one in chosen)} {'is' if len(chosen) == 1 else 'are'} {state}")
        if not reopen:
            say(f"to take it back: {as_command('vessel', 'close', *vessels, '--reopen', farm=farm)}")


def move(
    vessels: VesselsArgument,
    shelf: Annotated[str | None, typer.Option("--shelf", help="Where they stand from now on.")] = None,
    no_shelf: Annotated[bool, typer.Option("--no-shelf", help="They stand on none from now on.")] = False,
    folder: FarmOption = None,
) -> None:
    """Note on which shelf vessels stand from now on.

    Example: spawnrun vessel move B001..B020 --shelf A2
    """
    if (shelf is None) is not no_shelf:
        raise typer.BadParameter("give one of them", param_hint="--shelf and --no-shelf")
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        name = move_vessels(farm, [one.id for one in chosen], shelf)
        echo(f"{ids_in_short(one.id for one in chosen)}: on {f'shelf {name}' if name else 'no shelf'}")
        warn_of_closed(chosen)
        for before in dict.fromkeys(one.shelf for one in chosen):
            ids = ids_in_short(one.id for one in chosen if one.shelf == before).split(", ")
            place = ("--shelf", before) if before else ("--no-shelf",)
            say(f"to take it back: {as_command('vessel', 'move', *ids, *place, farm=farm)}")


def note(
    vessels: VesselsArgument,
    text: Annotated[str, typer.Argument(metavar="TEXT")],
    undo: Annotated[
        bool, typer.Option("--undo", help="Take the newest note back instead; TEXT must be how it begins.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --undo: also an older note.")] = False,
    folder: FarmOption = None,
) -> None:
    """Keep a note on vessels.

    Example: spawnrun vessel note B002 "moved to the warm shelf"
    """
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        if undo and not yes and (ids := ids_in_short(one.id for one in chosen if reaches_older_note(farm, one.id))):
            ask_first(f"{ids}: the last note was taken back already; take back an older one too?")
        for one in chosen:
            if undo:
                remove_note(farm, one.id, text)
            else:
                add_note(farm, one.id, text)
        echo(f"{'note taken back from' if undo else 'noted on'} {ids_in_short(one.id for one in chosen)}")
        if not undo:
            warn_of_closed(chosen)
            say(f"to take it back: {as_command('vessel', 'note', *vessels, text, '--undo', farm=farm)}")


def remove(vessels: VesselsArgument, folder: FarmOption = None) -> None:
    """Remove mistyped vessels, as long as no reading, event or verdict is of them and no vessel came from them.

    Others are closed instead: their records stay.

    Example: spawnrun vessel remove B0O1
    """
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        remove_vessels(farm, chosen)
        echo(f"removed {ids_in_short(one.id for one in chosen)}")


def rename(
    vessel: Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")],
    to: Annotated[str, typer.Argument(metavar="NEW", help="The id that was meant.")],
    folder: FarmOption = None,
) -> None:
    """Give a mistyped vessel the id that was meant, as long as nothing but notes hangs on it.

    Example: spawnrun vessel rename B0O1 B001
    """
    try:
        new_id = vessel_id(to)
    except ValueError as error:
        raise typer.BadParameter(f"{to!r}: {error}", param_hint="NEW") from None
    with chosen_farm(folder) as farm:
        rename_vessel(farm, vessel, new_id)
        echo(f"{vessel.upper()} is now {new_id}")
