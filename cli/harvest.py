"""`spawnrun harvest`: what was picked from vessels that fruit."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer
from pydantic import TypeAdapter, ValidationError

from cli.options import FarmOption, chosen_farm, named_span, past_instant
from cli.render import as_command, ask_if_older, echo, is_before_today, say
from farm.fruiting import (
    fruiting_lives,
    harvest_cautions,
    harvest_slips,
    import_harvests,
    newest_harvests,
    record_harvest,
    take_back_harvest,
    take_back_table,
)
from farm.lists import fruiting_mark, suspects_waiting
from farm.records import Kilograms, chosen_vessels, ids_in_short, in_farm_unit
from farm.records.models import Harvest, Vessel
from farm.store import Farm, fault_words, iso
from report import FOOD_CAUTION, SPORE_CAUTION

HarvestedVessels = Annotated[
    list[str] | None,
    typer.Argument(metavar="VESSELS", help="Ids, such as K001 K007, or a range of them: K001..K020."),
]


def harvest(
    vessels: HarvestedVessels = None,
    weight: Annotated[
        str | None, typer.Option("--weight", help="Fresh weight, in the farm's unit or 900g, 2lb.")
    ] = None,
    kg: Annotated[str | None, typer.Option("--kg", help="Fresh weight in kg.")] = None,
    each: Annotated[bool, typer.Option("--each", help="Of several vessels: each of them gave that weight.")] = False,
    together: Annotated[
        bool, typer.Option("--together", help="Of several vessels: all of them gave it; each has an equal share.")
    ] = False,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="When, a day or a time; else now. With --undo: which.")
    ] = None,
    flush: Annotated[
        int | None, typer.Option("--flush", min=1, max=50, metavar="N", help="Its number; else worked out.")
    ] = None,
    table: Annotated[
        Path | None, typer.Option("--import", metavar="FILE", help="Take in a CSV file instead, one harvest a row.")
    ] = None,
    yes: Annotated[
        bool,
        typer.Option("--yes", help="Also what is likely a mistake; with --undo: an older harvest."),
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the harvest that was entered last, or those of the file.")
    ] = False,
    folder: FarmOption = None,
) -> None:
    """Note what was picked from vessels that fruit: fresh weight, by vessel and day; or take it back.

    Weigh what goes into the basket, before it dries. What was picked is due again some days later. Harvests that lie
    close together are one flush; --flush says its number where that is wrong. The file of --import has the columns
    vessel, at, weight (or kg), and flush where it is known; all of it is taken in, or nothing. A row of a range
    (K001..K004) says in a column together whether each gave that weight (each) or all did (all).

    \b
    Examples: spawnrun harvest K001 --kg 1.2
              spawnrun harvest K001..K004 --weight 5.5lb --together --at 2026-03-30
              spawnrun harvest --import harvests.csv
              spawnrun harvest K001 --undo
    """  # noqa: D301 - the mark that keeps lines as they are
    if (table is None) is not bool(vessels):
        raise typer.BadParameter("give vessels, or --import FILE", param_hint="VESSELS")
    with chosen_farm(folder) as farm:
        if table is not None:
            _take_in(farm, table, undo=undo, sure=yes)
            return
        chosen = chosen_vessels(farm, vessels or [])
        if undo:
            span = named_span(at, farm, "--at") if at else None
            last = newest_harvests(farm, chosen, span)
            words = f"the harvest of {ids_in_short(one.vessel for one, _ in last)}"
            ask_if_older(farm, words, ((one.at, is_further) for one, is_further in last), sure=yes or at is not None)
            _tell(farm, take_back_harvest(farm, chosen, span=span), " taken back")
            return
        if len(chosen) > 1 and each is together:
            raise typer.BadParameter("did each vessel give that weight, or all?", param_hint="--each or --together")
        moment = past_instant(at, farm, "--at") or farm.now
        fresh_kg = _fresh_kg(farm, weight, kg)
        noted = record_harvest(farm, chosen, fresh_kg, moment, weighed_together=together, flush=flush, sure=yes)
        _tell(farm, noted)
        _tell_next(farm, chosen)
        for one in (*harvest_cautions(farm, chosen), *harvest_slips(farm, noted)):
            say(f"warning: {one}")
        if suspect := suspects_waiting(farm, chosen):
            say(f"warning: something that may be mould waits for review on {ids_in_short(suspect)}")
        surely = ("--yes",) if is_before_today(farm, moment) else ()
        say(f"to take it back: {as_command('harvest', *(vessels or []), '--undo', *surely, farm=farm)}")
        say(FOOD_CAUTION)
        say(SPORE_CAUTION)


def _tell_next(farm: Farm, vessels: Sequence[Vessel]) -> None:
    """When each is to be picked next; a line for all that have the same to be said of them."""
    alike: dict[str, list[str]] = {}
    for vessel, life in fruiting_lives(farm, [one for one in vessels if one.state == "running"]).items():
        alike.setdefault(fruiting_mark(life, farm.zone), []).append(vessel)
    for mark, ids in alike.items():
        say(f"{ids_in_short(ids)}: {mark}")


def _take_in(farm: Farm, table: Path, *, undo: bool, sure: bool) -> None:
    if undo:
        echo(f"harvests: {take_back_table(farm, table)} taken back")
        return
    count = import_harvests(farm, table, sure=sure)
    echo(f"harvests: {count.added} added, {count.same} known already")
    for one in harvest_slips(farm, count.fresh):
        say(f"warning: {one}")
    say(f"to take them back: {as_command('harvest', '--import', str(table), '--undo', farm=farm)}")
    say(FOOD_CAUTION)
    say(SPORE_CAUTION)


def _fresh_kg(farm: Farm, weight: str | None, kg: str | None) -> float:
    if (weight is None) is (kg is None):
        raise typer.BadParameter("give one of them", param_hint="--weight or --kg")
    option, text = ("--kg", kg or "") if weight is None else ("--weight", in_farm_unit(weight, "weight", farm.units))
    try:
        return float(TypeAdapter(Kilograms).validate_python(text))
    except ValidationError as error:
        raise typer.BadParameter(fault_words(error.errors()[0], farm.units.weight), param_hint=option) from None


def _tell(farm: Farm, harvests: Sequence[Harvest], taken_back: str = "") -> None:
    """A line for all of the same weight, moment and flush."""
    alike: dict[tuple[float, datetime, int | None], list[str]] = {}
    for one in harvests:
        alike.setdefault((one.fresh_kg, one.at, one.flush), []).append(one.vessel)
    for (kg, at, flush), ids in alike.items():
        several = f" each, {farm.units.weight(kg * len(ids))} in all" if len(ids) > 1 else ""
        numbered = f", flush {flush}" if flush else ""
        weight = f"{farm.units.weight(kg)}{several}"
        echo(f"{ids_in_short(ids)}: {weight}, picked at {iso(at, farm.zone)}{numbered}{taken_back}")
