"""`spawnrun species`: the table of species that forecasts and plans begin with."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import typer

from calibration import SPECIES_NUMBERS, Kind, Species, find_species, species_name, species_table
from cli.options import FarmOption, Format, FormatOption, chosen_farm
from cli.render import Column, echo, print_list
from farm.store import Units
from farm.store.errors import NotAFarmError


def _number(name: str, units: Units) -> Column:
    words = name.removesuffix("_percent").removesuffix("_c").replace("_", " ").replace("temperature ", "")
    unit = {"_percent": " %", "_c": f" \N{DEGREE SIGN}{units.temperatures}"}
    heading = words + next((text for end, text in unit.items() if name.endswith(end)), "")
    length = "mm" if units.lengths == "cm" else "in"
    heading = heading.replace("mm per day", f"{length} a day")
    return Column(heading, lambda one: _in_units(name, one[name], units), right=True)


def _in_units(name: str, value: float, units: Units) -> str:
    if name.endswith("_c"):
        return f"{units.temperature_number(value):.3g}"
    return f"{units.length_number(value):.3g}" if name.endswith("mm_per_day") else f"{value:g}"


def _columns(units: Units) -> tuple[Column, ...]:
    return (
        Column("species", lambda one: species_name(one["species"])),
        Column("latin", lambda one: one["latin"]),
        *(_number(name, units) for name in SPECIES_NUMBERS),
        Column("colours of the mycelium", lambda one: "; ".join(one["colours"])),
    )


PACE_COLUMNS = (
    Column("what", lambda one: one["what"]),
    Column("usual", lambda one: one["value"], right=True),
    Column("source", lambda one: one["source"]),
)


def species(
    name: Annotated[
        str | None, typer.Argument(metavar="[SPECIES]", help="One of them, each number with its source.")
    ] = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """What is usual for each species: temperatures, rates, days by kind and substrate, flushes, colours, with sources.

    These are values to start with: a farm's own readings take over, and farm.toml may set any of them (as shown, inside
    a farm).

    Example: spawnrun species oyster
    """
    own, units = _own(folder)
    table = {**species_table(), **own}
    if name is None:
        print_list([_record(one) for one in table.values()], _columns(units), style)
        return
    found = find_species(name, own)
    if found is None:
        known = ", ".join(sorted(map(species_name, table)))
        raise typer.BadParameter(f"{name!r} is not in the species table; it has {known}", param_hint="SPECIES")
    if style is Format.table:
        echo(f"{found.name}: {found.latin}; {', '.join(found.names)}; mycelium: {'; '.join(found.colours)}\n")
    facts = _facts(found)
    if style is Format.table:
        facts = [_for_people(one, units) for one in facts]
    print_list(facts, PACE_COLUMNS, style)


def _own(folder: Path | None) -> tuple[dict[str, Species], Units]:
    """What the farm one is in, or --farm, sets, and its units; the table alone outside of any."""
    try:
        with chosen_farm(folder) as farm:
            return farm.own_species, farm.units
    except NotAFarmError:
        if folder is not None:
            raise
        return {}, Units()


@dataclass(frozen=True)
class PaceRecord:
    """Usual days of a species in a kind of vessel on a substrate."""

    kind: Kind
    substrate: str
    lag_days: float
    through_days: float
    source: str


@dataclass(frozen=True)
class SpeciesRecord:
    """A species of `spawnrun species`. sources: of each number, by its name."""

    species: str
    latin: str
    names: tuple[str, ...]
    temperature_min_c: float
    temperature_optimum_c: float
    temperature_max_c: float
    radial_mm_per_day: float
    consolidation_days: float
    flushes: float
    first_harvest_days: float
    pins_to_harvest_days: float
    flush_interval_days: float
    spawn_rate_percent: float
    colours: tuple[str, ...]
    paces: tuple[PaceRecord, ...]
    sources: dict[str, str]


@dataclass(frozen=True)
class FactRecord:
    """A fact of `spawnrun species NAME`."""

    what: str
    value: str
    source: str


def _record(one: Species) -> SpeciesRecord:
    return SpeciesRecord(
        species=one.key,
        latin=one.latin,
        names=tuple(one.names),
        **{name: getattr(one, name).value for name in SPECIES_NUMBERS},
        colours=tuple(one.colours),
        paces=tuple(
            PaceRecord(pace.kind, pace.substrate, pace.lag_days, pace.through_days, pace.source) for pace in one.paces
        ),
        sources={name: getattr(one, name).source for name in SPECIES_NUMBERS},
    )


def _for_people(fact: FactRecord, units: Units) -> FactRecord:
    """A fact in the farm's units; its name then says which."""
    name = fact.what.replace(" ", "_")
    if name.endswith("_c"):
        what = f"{fact.what[:-1]}{units.temperatures}"
    elif name.endswith("_mm_per_day") and units.lengths != "cm":
        what = fact.what.replace("mm per", "in per")
    else:
        return fact
    return replace(fact, what=what, value=_in_units(name, float(fact.value), units))


def _facts(one: Species) -> list[FactRecord]:
    facts = [
        FactRecord(name.replace("_", " "), f"{getattr(one, name).value:g}", getattr(one, name).source)
        for name in SPECIES_NUMBERS
    ]
    paces = [
        FactRecord(
            what=f"days to through in a {pace.kind} on {pace.substrate} (of these, lag)",
            value=f"{pace.through_days:g} ({pace.lag_days:g})",
            source=pace.source,
        )
        for pace in one.paces
    ]
    return facts + paces
