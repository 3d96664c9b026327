"""`spawnrun review`: what needs eyes, and the verdict on it."""

from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, Format, FormatOption, chosen_farm, instant
from cli.records import review_record
from cli.render import Column, print_cautions, print_list
from farm import Farm, ReviewItem, Verdict, give_verdict, look_ahead, review_items, save_crop

review_app = typer.Typer(rich_markup_mode=None, invoke_without_command=True)

VesselArgument = Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")]
SubjectOption = Annotated[
    str, typer.Option("--of", metavar="SUBJECT", help="Only this: a suspect's colour, stall or drop; else all of it.")
]
NoteOption = Annotated[str, typer.Option("--note", help="Why; kept with the verdict.")]
ByOption = Annotated[str, typer.Option("--by", metavar="NAME", help="Who gives the verdict.")]

COLUMNS = (
    Column("urgency", lambda one: one["urgency"]),
    Column("vessel", lambda one: one["vessel"]),
    Column("what", lambda one: one["subject"] + (" (watched)" if one["watched"] else "")),
    Column("why", lambda one: one["why"]),
    Column("where", lambda one: one["where"]),
    Column("since", lambda one: one["since"].replace("T", " ")),
    Column("crop", lambda one: one["crop"] or ""),
)


@review_app.callback()
def review(context: typer.Context) -> None:
    """What needs eyes: suspects (colours that may be contamination) and stalls, most urgent first.

    \b
    Examples: spawnrun review
              spawnrun review confirm B004 --note "green, powdery"
              spawnrun review dismiss P001 --of yellow --note "colour of the agar"
    """  # noqa: D301 - the mark that keeps lines as they are
    if context.invoked_subcommand is None:
        list_()


@review_app.command("list")
def list_(as_of: AsOfOption = None, style: FormatOption = Format.table, folder: FarmOption = None) -> None:
    """List what needs eyes, each with why, where on the face, since when, and a crop saved to look at.

    Example: spawnrun review list --format json
    """
    with chosen_farm(folder) as opened:
        farm = opened.at(instant(as_of, opened.zone, "--as-of"))
        items = _items(farm)
        records = [review_record(item, save_crop(farm, item), farm.zone) for item in items]
        print_list(records, COLUMNS, style, if_empty="nothing needs eyes")
        if style is Format.table and any(item.mark is not None for item in items):
            print_cautions()


@review_app.command()
def confirm(
    vessel: VesselArgument, of: SubjectOption = "", note: NoteOption = "", by: ByOption = "", folder: FarmOption = None
) -> None:
    """Say that it is so. A vessel with a confirmed suspect is taken out of the lists as contaminated.

    Example: spawnrun review confirm B004 --note "green, powdery"
    """
    _give(vessel, "confirmed", of, note, by, folder)


@review_app.command()
def dismiss(
    vessel: VesselArgument, of: SubjectOption = "", note: NoteOption = "", by: ByOption = "", folder: FarmOption = None
) -> None:
    """Say that it is nothing. A dismissed suspect comes back only if it grows.

    Example: spawnrun review dismiss P001 --of yellow --note "colour of the agar"
    """
    _give(vessel, "dismissed", of, note, by, folder)


@review_app.command()
def watch(
    vessel: VesselArgument, of: SubjectOption = "", note: NoteOption = "", by: ByOption = "", folder: FarmOption = None
) -> None:
    """Keep it on the list, marked as watched.

    Example: spawnrun review watch J001
    """
    _give(vessel, "watched", of, note, by, folder)


def _items(farm: Farm) -> list[ReviewItem]:
    return review_items(farm, look_ahead(farm))


def _give(vessel: str, verdict: Verdict, of: str, note: str, by: str, folder: FarmOption) -> None:
    with chosen_farm(folder) as farm:
        given = give_verdict(farm, _items(farm), vessel, verdict, subject=of, by=by, note=note)
        for one in given:
            typer.echo(f"{one.vessel}: {one.subject} {one.verdict}")
        if verdict == "confirmed":
            print_cautions()
