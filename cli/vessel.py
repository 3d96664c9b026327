"""`spawnrun vessel`: add, import, list, show; what changes vessels is in cli/vessel_changes.py."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from calibration import species_name
from cli.options import FarmOption, Format, FormatOption, KindName, UseName, VesselsArgument, chosen_farm, day_of_word
from cli.printed_remarks import tell_assumed_use
from cli.printed_vessels import fruiting_lines, harvest_words, reading_record, rounded, vessel_record
from cli.render import Column, as_command, echo, percent_text, print_list, say, suspects_column, visible
from cli.vessel_changes import close, move, note, remove, rename
from farm.fruiting import list_harvests
from farm.outlook import bring_up_to_date
from farm.records import (
    ImportCount,
    VesselRow,
    add_vessels,
    column_question,
    expand_ids,
    fault_text,
    flag_words,
    get_vessel,
    ids_in_short,
    import_vessels,
    import_vessels_and_events,
    in_farm_unit,
    list_events,
    list_readings,
    list_vessels,
    notes_of,
    older_than_source,
    species_question,
    unknown_species,
    vessel_of_row,
    vessels_on_shelf,
)
from farm.records.models import State
from farm.store import Farm, Quantity, iso

vessel_app = typer.Typer(
    no_args_is_help=True, add_completion=False, rich_markup_mode=None, help="The vessels of the farm."
)
VesselArgument = Annotated[str, typer.Argument(metavar="VESSEL", help="Its id.")]

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("kind", lambda one: one["kind"]),
    Column("species", lambda one: species_name(one["species"])),
    Column("substrate", lambda one: one["substrate"]),
    Column("for", lambda one: one["used_for"]),
    Column("inoculated", lambda one: one["inoculated_at"].replace("T", " ")),
    Column("batch", lambda one: one["batch"]),
    Column("source", lambda one: one["source"]),
    Column("shelf", lambda one: one["shelf"]),
    Column("state", lambda one: "" if one["state"] == "running" else one["state"]),
)
_FIRST = (
    Column("taken", lambda one: one["taken_at"].replace("T", " ")),
    Column("side", lambda one: "" if one["side"] == "front" else one["side"]),
    Column("% colonised", percent_text, right=True),
    Column("hidden %", lambda one: "" if one["hidden_percent"] is None else f"{one['hidden_percent']:.0f}", right=True),
    Column(
        "turned away %",
        lambda one: "" if one["steep_percent"] is None else f"{one['steep_percent']:.0f}",
        right=True,
    ),
)
_LAST = (
    Column("note", lambda one: one["reason"] or flag_words(one["flags"])),
    Column("photo", lambda one: one["photo"]),
)


@vessel_app.command()
def add(
    vessels: VesselsArgument,
    kind: Annotated[KindName, typer.Option("--kind", help="What it is.")],
    inoculated: Annotated[
        str, typer.Option("--inoculated", metavar="TIME", help="A day or a time, such as 2 Mar 2026.")
    ],
    species: Annotated[str, typer.Option("--species", help="Species or strain.")] = "",
    substrate: Annotated[str, typer.Option("--substrate", help="What it grows on.")] = "",
    batch: Annotated[str, typer.Option("--batch", help="Vessels inoculated together share one.")] = "",
    source: Annotated[str, typer.Option("--source", help="The vessel or culture it was inoculated from.")] = "",
    face_width_mm: Annotated[float | None, typer.Option("--face-width-mm", help="If not the usual.")] = None,
    face_height_mm: Annotated[float | None, typer.Option("--face-height-mm", help="If not the usual.")] = None,
    diameter_mm: Annotated[float | None, typer.Option("--diameter-mm", help="If not the usual.")] = None,
    face_width: Annotated[str | None, typer.Option("--face-width", help="In the farm's unit, or 7.5in.")] = None,
    face_height: Annotated[str | None, typer.Option("--face-height", help="In the farm's unit, or 12in.")] = None,
    diameter: Annotated[str | None, typer.Option("--diameter", help="In the farm's unit, or 9cm.")] = None,
    temperature: Annotated[str | None, typer.Option("--temperature", help="In the farm's unit, or 75F.")] = None,
    contents: Annotated[
        str | None, typer.Option("--contents", help="Wet weight of what it holds, in the farm's unit, or 5lb.")
    ] = None,
    label_size: Annotated[str | None, typer.Option("--label-size", metavar="normal|small")] = None,
    label_place: Annotated[str | None, typer.Option("--label-place", metavar="on_face|below")] = None,
    temperature_c: Annotated[
        float | None, typer.Option("--temperature-c", help="Mean of the place it stands in, if known.")
    ] = None,
    shelf: Annotated[str, typer.Option("--shelf", help="Where it stands.")] = "",
    use: Annotated[
        UseName | None, typer.Option("--use", help="What it is for, if its substrate does not tell.")
    ] = None,
    folder: FarmOption = None,
) -> None:
    """Add a vessel, or several that are alike: J010..J019 stands for ten.

    Example: spawnrun vessel add B001..B010 --kind bag --species oyster --source J001 --inoculated 2026-03-02
    """
    wanted: dict[str, object] = {
        "kind": kind.value,
        "inoculated": inoculated,
        "species": species,
        "substrate": substrate,
        "batch": batch,
        "source": source,
        "face_width_mm": face_width_mm,
        "face_height_mm": face_height_mm,
        "diameter_mm": diameter_mm,
        "label_size": label_size,
        "label_place": label_place,
        "temperature_c": temperature_c,
        "shelf": shelf,
        "use": None if use is None else use.value,
    }
    ids = _ids(vessels)
    with chosen_farm(folder) as farm:
        measures: dict[str, tuple[str | None, str, Quantity]] = {
            "face_width_mm": (face_width, "--face-width", "length"),
            "face_height_mm": (face_height, "--face-height", "length"),
            "diameter_mm": (diameter, "--diameter", "length"),
            "temperature_c": (temperature, "--temperature", "temperature"),
            "contents_kg": (contents, "--contents", "weight"),
        }
        wanted |= {
            name: in_farm_unit(text, quantity, farm.units) for name, (text, _, quantity) in measures.items() if text
        }
        given = {name: option for name, (text, option, _) in measures.items() if text}
        wanted["inoculated"] = day_of_word(inoculated, farm)
        rows = [_row({"vessel": one, **wanted}, farm, given) for one in ids]
        made = [vessel_of_row(row, farm) for row in rows]
        add_vessels(farm, made)
        known = {one.id: one for one in list_vessels(farm)}
        echo(f"added {ids_in_short(ids)}{f' ({len(ids)} vessels)' if len(ids) > 1 else ''}")
        _tell_unknown_species(farm, unknown_species(farm, (one.species for one in made)))
        for odd in filter(None, (older_than_source(farm, one, known) for one in made)):
            say(f"warning: {odd}")
        tell_assumed_use(made)
        say(f"to take it back: {as_command('vessel', 'remove', *vessels, farm=farm)}")


def _tell_unknown_species(farm: Farm, names: Sequence[str]) -> None:
    """Say which species are not known, with what may have been meant."""
    if names:
        named = ", ".join(f"{visible(one)}{species_question(farm, one)}" for one in names)
        say(f"species not known, forecast from other vessels alone: {named}; `spawnrun species` lists those known")


def _ids(texts: Sequence[str]) -> list[str]:
    try:
        return expand_ids(texts, new=True)
    except ValueError as error:
        raise typer.BadParameter(f"id: {error}") from None


def _row(wanted: dict[str, object], farm: Farm, given: dict[str, str]) -> VesselRow:
    """The checked vessel. given: the options that are called otherwise than the facts that they give."""
    try:
        return VesselRow.model_validate(wanted, context={"date_order": farm.settings.date_order})
    except ValidationError as error:
        raise typer.BadParameter(
            "; ".join(fault_text(error, wanted, given, farm.units)).replace("column ", "")
        ) from None


@vessel_app.command("import")
def import_(
    table: Annotated[Path, typer.Argument(metavar="VESSELS.csv", help="One vessel a row.")],
    events: Annotated[Path | None, typer.Option("--events", metavar="FILE", help="Also take in an events.csv.")] = None,
    update: Annotated[bool, typer.Option("--update", help="Let rows change vessels that are there.")] = False,
    folder: FarmOption = None,
) -> None:
    """Take in a table of vessels: all rows, or none if one has a fault; with --events, all of both tables or nothing.

    Columns: vessel (or id), kind, inoculated; optional species, substrate, batch, source, face_width_mm,
    face_height_mm, diameter_mm, label_size (normal, small), label_place (on_face, below), temperature_c (mean of its
    place), shelf, use (culture, spawn, fruiting; where the substrate does not tell), contents (wet weight of what it
    holds, in the farm's unit). Others are kept as notes.

    Example: spawnrun vessel import vessels.csv --events events.csv
    """
    with chosen_farm(folder) as farm:
        taken_in = None
        if events is None:
            count = import_vessels(farm, table, update_known=update)
        else:
            count, taken_in = import_vessels_and_events(farm, table, events, update_known=update)
        echo(f"vessels: {count.added} added, {count.changed} changed, {count.same} unchanged")
        if count.changed:
            again = "`spawnrun measure PATHS --again` measures known ones again"
            say(f"the new facts apply to photos measured from now on; {again}")
        if count.unknown_columns:
            say(_unknown_columns(count))
        _tell_unknown_species(farm, count.unknown_species)
        for odd in count.odd_dates:
            say(f"warning: {odd}")
        tell_assumed_use(count.assumed_use)
        if taken_in is not None:
            echo(f"events: {taken_in.added} added, {taken_in.same} known already")
            if taken_in.added:
                say("to take one back: spawnrun event VESSEL WHAT --at TIME --remove, or spawnrun done VESSEL --undo")


def _unknown_columns(count: ImportCount) -> str:
    named = (f"{visible(name)}{column_question(name, VesselRow)}" for name in count.unknown_columns)
    kept = f"\nkept as notes: {', '.join(map(visible, count.kept_columns))}" if count.kept_columns else ""
    return "\n".join(f"column not known: {one}" for one in named) + kept


def _in_units(name: str, value: object, farm: Farm) -> tuple[str, str]:
    """A fact of a vessel for people: measures stand in the farm's units, with their names without one."""
    if isinstance(value, float) and name.endswith("_mm"):
        return name.removesuffix("_mm").replace("_", " "), farm.units.length(value)
    if isinstance(value, float) and name.endswith("_c"):
        return name.removesuffix("_c"), farm.units.temperature(value)
    if isinstance(value, float) and name.endswith("_kg"):
        return name.removesuffix("_kg").replace("_", " "), farm.units.weight(value)
    return name, str(rounded(value) if isinstance(value, float) else value)


@vessel_app.command("list")
def list_(
    everything: Annotated[bool, typer.Option("--all", help="Closed and contaminated ones too.")] = False,
    shelf: Annotated[str | None, typer.Option("--shelf", help="Only those on it.")] = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """List the vessels that are running.

    Example: spawnrun vessel list --shelf A2; spawnrun vessel list --all --format csv
    """
    with chosen_farm(folder) as farm:
        state: State | None = None if everything else "running"
        vessels = list_vessels(farm, state=state) if shelf is None else vessels_on_shelf(farm, shelf, state=state)
        none = "no vessels yet" if shelf is None else f"no vessels on shelf {visible(shelf)}"
        print_list([vessel_record(vessel, farm.zone) for vessel in vessels], COLUMNS, style, if_empty=none)


@vessel_app.command()
def show(vessel: VesselArgument, style: FormatOption = Format.table, folder: FarmOption = None) -> None:
    """Show a vessel: its facts, events, notes and readings (as JSON or CSV: its readings).

    Turned away is the share of a round wall's face that turns away from the camera by more than 60 degrees and is
    poorly seen; hidden is what glare or condensation veils.

    Example: spawnrun vessel show B004
    """
    with chosen_farm(folder) as farm:
        known = get_vessel(farm, vessel)
        bring_up_to_date(farm)
        if style is Format.table:
            for name, value in vars(vessel_record(known, farm.zone)).items():
                if name == "used_for":
                    echo(f"{name:15} {known.use_in_words}")
                elif value not in (None, "") and name != "use":
                    words, shown = _in_units(name, value, farm)
                    echo(f"{words:15} {visible(shown)}")
            for event in list_events(farm):
                if event.vessel == known.id:
                    why = f" {visible(event.why)}" if event.why else ""
                    echo(f"{event.event:15} {iso(event.at, farm.zone)}{why}")
            for harvest in list_harvests(farm, [known.id]):
                echo(f"{'harvest':15} {iso(harvest.at, farm.zone)} {harvest_words(harvest, farm)}")
            for line in fruiting_lines(farm, known):
                echo(line)
            for note in notes_of(farm, known.id):
                echo(f"note            {iso(note.at, farm.zone)} {visible(note.text)}")
            echo("")
        readings = [reading_record(reading, farm.zone) for reading in list_readings(farm, vessel=known.id)]
        print_list(readings, (*_FIRST, suspects_column(farm.units), *_LAST), style, if_empty="no readings yet")


for change in (close, move, note, remove, rename):
    vessel_app.command()(change)
