"""`spawnrun review`: what to look at, and the verdict on it."""

from dataclasses import replace
from typing import Annotated

import typer

from calibration import suspect_scores
from cli.options import AsOfOption, FarmOption, Format, FormatOption, VesselsArgument, WhyOption, chosen_farm
from cli.printed_lists import review_record
from cli.printed_verdicts import tell_consequences
from cli.render import Column, ask_first, echo, print_cautions, print_list, say
from farm.outlook import bring_up_to_date
from farm.pictures import save_crops
from farm.records import chosen_vessels, older_verdict, undo_verdict
from farm.records.models import Verdict, means_contamination
from farm.review import ReviewItem, give_verdict, items_to_judge, review_items, standing_verdict
from farm.store import Farm, day_words, on_farm_clock

VesselArgument = Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")]
SubjectOption = Annotated[
    str,
    typer.Option(
        "--of",
        metavar="SUBJECT",
        help="Only this: a word such as green or stall, or one thing as `review list` names it; else all that is open.",
    ),
]
NoteOption = Annotated[str, typer.Option("--note", help="Why; kept with the verdict.")]
ByOption = Annotated[str, typer.Option("--by", metavar="NAME", help="Who gives the verdict.")]

COLUMNS = (
    Column("urgency", lambda one: one["urgency"]),
    Column("vessel", lambda one: one["vessel"]),
    Column("what", lambda one: one["suspect"] + (" (watched)" if one["watched"] else "")),
    Column("standing", lambda one: "" if one["standing"] == "open" else one["standing"]),
    Column("why", lambda one: one["why"]),
    Column("where", lambda one: one["where"]),
    Column("since", lambda one: one["first_seen_at"].replace("T", " ")),
    Column("crop", lambda one: one["crop"] or ""),
)
BEHIND = (
    Column("score", lambda one: "" if one["score"] is None else f"{one['score']:.2f}", right=True),
    Column("what such flags were", lambda one: one["worth"]),
)


def _help() -> str:
    first, *others = suspect_scores().sets
    rows = zip(first.thresholds, *(one.thresholds for one in others), strict=True)
    lines = [
        f"  {row[0].threshold:9.2f}"
        + "".join(f"  {one.missed:5} of {one.due:3}  {one.false_flags:5} of {one.clean:4}" for one in row)
        for row in rows
    ]
    sets = [f"  ({letter}) {one.source}" for letter, one in zip("abc", (first, *others), strict=False)]
    heads = "".join(f"  ({letter}) missed  flagged falsely" for letter in "abc"[: len(sets)])
    return """What to review: suspects (colours that may be contamination) and stalls, most urgent first.

\b
Examples: spawnrun review
          spawnrun review --open
          spawnrun review confirm B004 --note "green, powdery"
          spawnrun review dismiss P001 --of yellow --note "colour of the agar"

A suspect is flagged from a score on that farm.toml sets (suspect_score). What that missed where the truth is known
(patches of 1 cm2 or more, 0.5 on plates; a vessel that an earlier photo had marked counts as found), and how many clean
readings it flagged falsely:

\b
""" + "\n".join([f"  threshold{heads}", *lines, *sets])


review_app = typer.Typer(add_completion=False, rich_markup_mode=None, invoke_without_command=True, help=_help())


@review_app.callback()
def review(
    context: typer.Context,
    open_: Annotated[
        bool, typer.Option("--open", help="Serve a page to look and judge on, on this machine only, and open it.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="For --open; 0 takes a free one.")] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="For --open: whether to open a browser on it.")
    ] = True,
    as_of: AsOfOption = None,
    folder: FarmOption = None,
) -> None:
    """Open the page, or list, unless a command of its own follows."""
    if context.invoked_subcommand is not None:
        return
    if not open_:
        list_(as_of=as_of, folder=folder)
        return
    # A verdict given now must be seen on the page, whatever day it speaks from.
    from cli.serve import serve_review  # here, so that a list does not load a web server

    with chosen_farm(folder, as_of) as farm:
        serve_review(replace(farm, known_at=None), port, browser=browser)


@review_app.command("list")
def list_(
    everything: Annotated[
        bool, typer.Option("--all", help="Also what is not flagged, was judged, or is on a vessel taken out.")
    ] = False,
    why: WhyOption = False,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """List what is up for review, each with why, where on the face, since when, and a crop saved to look at.

    Example: spawnrun review list --all --format json
    """
    with chosen_farm(folder, as_of) as farm:
        items = _items(farm, everything=everything)
        crops, problems = save_crops(farm, items)
        records = [review_record(item, crop, farm.zone) for item, crop in zip(items, crops, strict=True)]
        print_list(records, (*COLUMNS, *BEHIND) if why else COLUMNS, style, if_empty="nothing to review")
        if style is Format.table and any(item.suspect is not None for item in items):
            print_cautions(item.subject for item in items)
    for problem in problems:
        say(f"warning: {problem}")


@review_app.command()
def confirm(
    vessels: VesselsArgument,
    of: SubjectOption = "",
    quarantine: Annotated[
        bool, typer.Option("--quarantine", help="It is kept, apart from the others, instead of thrown out.")
    ] = False,
    note: NoteOption = "",
    by: ByOption = "",
    folder: FarmOption = None,
) -> None:
    """Confirm that what is up for review is real.

    A vessel with a confirmed suspect is taken out of the lists as contaminated or quarantined, and what was made from
    it is marked there. Confirmed growth alone (stopped, far behind) leaves it on the list.

    Example: spawnrun review confirm B004 --note "green, powdery"
    """
    _give(vessels, "confirmed", of, note, by, folder, quarantine=quarantine)


@review_app.command()
def dismiss(
    vessels: VesselsArgument,
    of: SubjectOption = "",
    note: NoteOption = "",
    by: ByOption = "",
    folder: FarmOption = None,
) -> None:
    """Say that it is nothing. A dismissed suspect comes back only if it grows (farm.toml sets by how much).

    Example: spawnrun review dismiss P001 --of yellow --note "colour of the agar"
    """
    _give(vessels, "dismissed", of, note, by, folder)


@review_app.command()
def watch(
    vessels: VesselsArgument,
    of: SubjectOption = "",
    note: NoteOption = "",
    by: ByOption = "",
    folder: FarmOption = None,
) -> None:
    """Keep it on the list, marked as watched.

    Example: spawnrun review watch J001
    """
    _give(vessels, "watched", of, note, by, folder)


@review_app.command()
def undo(
    vessel: VesselArgument,
    of: SubjectOption = "",
    by: ByOption = "",
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before something older is taken back.")] = False,
    folder: FarmOption = None,
) -> None:
    """Take back what was said last of a vessel; a vessel taken out by it runs again. The record of both is kept.

    What one command said of several things is taken back together; --of takes back what was said last of one. Given
    again, it asks before it takes back what was said before that.

    Example: spawnrun review undo B004
    """
    with chosen_farm(folder) as farm:
        verdict_id = standing_verdict(_items(farm, everything=True), of)
        older = None if yes else older_verdict(farm, vessel, subject="" if verdict_id else of, verdict_id=verdict_id)
        if older is not None:
            said = f"{older.subject} {older.verdict} on {day_words(on_farm_clock(older.at, farm.zone))}"
            ask_first(f"{older.vessel}: the last verdict was taken back already; take back {said} too?")
        for back in undo_verdict(farm, vessel, subject="" if verdict_id else of, verdict_id=verdict_id, by=by):
            echo(f"{back.vessel}: {back.subject} no longer {back.verdict}")


def _items(farm: Farm, *, everything: bool = False) -> list[ReviewItem]:
    return review_items(farm, bring_up_to_date(farm), everything=everything)


def _give(
    vessels: list[str], verdict: Verdict, of: str, note: str, by: str, folder: FarmOption, *, quarantine: bool = False
) -> None:
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        items = _items(farm, everything=True)
        for vessel in chosen:
            items_to_judge(items, vessel.id, of)  # of all before a verdict is kept on any
        given = [
            one
            for vessel in chosen
            for one in give_verdict(
                farm, items, vessel.id, verdict, subject=of, by=by, note=note, quarantine=quarantine
            )
        ]
        for one in given:
            echo(f"{one.vessel}: {one.subject} {one.verdict}")
        if verdict == "confirmed":
            tell_consequences(farm, given, quarantine=quarantine)
        if verdict == "confirmed" and any(means_contamination(one.subject) for one in given):
            print_cautions()
