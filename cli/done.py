"""`spawnrun done`: what became of vessels whose step was done."""

from enum import StrEnum
from typing import Annotated

import typer

from cli.options import FarmOption, KindName, UseName, VesselsArgument, chosen_farm, named_span, past_instant
from cli.printed_remarks import tell_assumed_use
from cli.render import as_command, ask_if_older, echo, is_before_today, say
from farm.lists import step_cautions
from farm.records import (
    Done,
    Step,
    chosen_vessels,
    entered_last,
    ids_in_short,
    in_farm_unit,
    made_vessels,
    mark_done,
    undo_done,
)
from farm.store import Farm, iso
from farm.store.errors import VesselChangeError


class StepName(StrEnum):
    """Steps, as the command line takes them."""

    transferred = "transferred"
    spawned = "spawned"
    fruiting = "fruiting"
    thrown_out = "thrown-out"
    spent = "spent"


_EVENTS: dict[StepName, Step] = {
    StepName.transferred: "transferred",
    StepName.spawned: "spawned",
    StepName.fruiting: "opened",
    StepName.thrown_out: "thrown_out",
    StepName.spent: "spent",
}


def _step_name(text: str) -> StepName:
    """The step that a text names; "thrown out" and "thrown_out" are thrown-out."""
    try:
        return StepName("-".join(text.lower().replace("_", " ").replace("-", " ").split()))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is none of {', '.join(StepName)}") from None


_WORDS: dict[Step, str] = {
    "transferred": "transferred",
    "spawned": "spawned",
    "opened": "moved to fruiting",
    "thrown_out": "thrown out",
    "spent": "spent",
}


def done(
    vessels: VesselsArgument,
    as_: Annotated[
        StepName | None,
        typer.Option(
            "--as",
            parser=_step_name,
            metavar="|".join(StepName),
            help="What was done; else the usual step of what each is for.",
        ),
    ] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When, a day or a time; else now.")] = None,
    into: Annotated[
        list[str] | None, typer.Option("--into", metavar="IDS", help="Ids of the new vessels, such as B101..B110.")
    ] = None,
    kind: Annotated[KindName | None, typer.Option("--kind", help="With --into: what the new ones are.")] = None,
    substrate: Annotated[str, typer.Option("--substrate", help="With --into: what they grow on.")] = "",
    batch: Annotated[str, typer.Option("--batch", help="With --into: their batch.")] = "",
    shelf: Annotated[str, typer.Option("--shelf", help="With --into: where they stand.")] = "",
    use: Annotated[UseName | None, typer.Option("--use", help="With --into: what they are for.")] = None,
    contents: Annotated[str, typer.Option("--contents", help="With --into: wet weight of what each holds.")] = "",
    why: Annotated[str, typer.Option("--why", help="The reason, such as green mould; counted by reason.")] = "",
    undo: Annotated[bool, typer.Option("--undo", help="Take it back, with the vessels that it made.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --undo: also an older step.")] = False,
    folder: FarmOption = None,
) -> None:
    """Note that the step of vessels was done: spawned, transferred, moved to fruiting, thrown out, spent.

    What fruits stays on the list as fruiting, until it is spent (--as spent); the others leave the lists, and their
    records stay. New vessels get the species of their source; those of several sources are shared out in order, the
    same number from each. What is up for review is judged first, or thrown out; of vessels that are not ready yet a
    warning says so.

    \b
    Examples: spawnrun done B003 J001
              spawnrun done J001 --at 2026-03-14 --into B101..B110 --kind bag --substrate sawdust
              spawnrun done B004 --as thrown-out --why "green mould"
              spawnrun done J001 --undo
    """  # noqa: D301 - the mark that keeps lines as they are
    if into and kind is None:
        raise typer.BadParameter("says what the new vessels are", param_hint="--kind")
    with chosen_farm(folder) as farm:
        chosen = chosen_vessels(farm, vessels)
        if undo:
            last = entered_last(farm, chosen)
            steps = ", ".join(dict.fromkeys(_WORDS[one.step] for one, _ in last))
            words = f"{ids_in_short(one.vessel.id for one, _ in last)}: {steps}"
            if at is not None:
                _refuse_another(farm, [one for one, _ in last], at)
            ask_if_older(farm, words, ((one.at, is_further) for one, is_further in last), sure=yes or at is not None)
            _tell(farm, undo_done(farm, chosen), " taken back")
            return
        moment = past_instant(at, farm, "--at") or farm.now
        facts = {"kind": kind.value if kind else "", "substrate": substrate, "batch": batch, "shelf": shelf}
        facts |= {"use": use.value} if use else {}
        facts |= {"contents_kg": in_farm_unit(contents, "weight", farm.units)} if contents else {}
        made = made_vessels(farm, chosen, into, moment, facts) if into else []
        step = _EVENTS[as_] if as_ else None
        cautions = step_cautions(farm, chosen, step)
        _tell(farm, mark_done(farm, chosen, moment, step, made, why=why))
        for one in cautions:
            say(f"warning: {one}")
        tell_assumed_use(made)
        if step == "thrown_out" and not why:
            say("`spawnrun losses` counts by reason; --why gives one, such as green mould")
        sure = ("--yes",) if is_before_today(farm, moment) else ()
        say(f"to take it back: {as_command('done', *vessels, '--undo', *sure, farm=farm)}")


def _refuse_another(farm: Farm, last: list[Done], at: str) -> None:
    """Refuse an undo that names the time of a step where the one noted last is another."""
    begin, end = named_span(at, farm, "--at")
    if others := [one for one in last if not begin <= one.at < end]:
        one = others[0]
        raise VesselChangeError(
            f"{one.vessel.id}: {_WORDS[one.step]} at {iso(one.at, farm.zone)} was noted last, not one of {at};"
            " nothing was taken back; steps are taken back from the last one on"
        )


def _tell(farm: Farm, steps: list[Done], taken_back: str = "") -> None:
    """A line for all that were done with in the same way; those that made vessels have one each."""
    alike: dict[tuple[str, str], list[str]] = {}
    for one in steps:
        made = f", made {ids_in_short(new.id for new in one.made)}" if one.made else ""
        alike.setdefault((f"{_WORDS[one.step]} at {iso(one.at, farm.zone)}", made), []).append(one.vessel.id)
    for (what, made), ids in alike.items():
        echo(f"{ids_in_short(ids)}: {what}{made}{taken_back}")
