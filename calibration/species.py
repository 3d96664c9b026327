"""Species that growers keep: temperatures, rates, consolidation, and days on each substrate in each kind of vessel."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from calibration.kinds import KINDS, KINDS_SOURCE, Kind, vessel_kinds
from calibration.substrates import plain_name, substrate_class


@dataclass(frozen=True)
class Sourced:
    """A number and where it comes from: a citation, or "common practice, no source"."""

    value: float
    source: str


@dataclass(frozen=True)
class Pace:
    """Usual days from inoculation to the front moving (lag) and to 99 % of the visible face (through).

    ``substrate`` is a class of substrate, empty in a kind's generic row.
    """

    kind: Kind
    substrate: str
    lag_days: float
    through_days: float
    source: str


@dataclass(frozen=True)
class Species:
    """What is usual for one species. Temperatures in C, radial rate in mm/day on agar near the optimum.

    ``consolidation_days``: rest of a bulk block between colonised through and ready. ``colours``: normal colours of its
    mycelium, so that they are not taken for contamination. ``spawn_rate_percent``: spawn in percent of wet substrate.
    ``first_harvest_days``: from the start of fruiting to the first harvest; ``pins_to_harvest_days``: from pins seen to
    it; ``flush_interval_days``: from the first harvest of one flush to that of the next.
    """

    key: str
    latin: str
    names: tuple[str, ...]
    temperature_min_c: Sourced
    temperature_optimum_c: Sourced
    temperature_max_c: Sourced
    radial_mm_per_day: Sourced
    consolidation_days: Sourced
    flushes: Sourced
    first_harvest_days: Sourced
    pins_to_harvest_days: Sourced
    flush_interval_days: Sourced
    spawn_rate_percent: Sourced
    colours: tuple[str, ...]
    paces: tuple[Pace, ...]

    @property
    def name(self) -> str:
        """Its key as people are shown it."""
        return species_name(self.key)


@cache
def species_table() -> dict[str, Species]:
    """All species by key, from ``species.toml``."""
    table = _table()
    return {key: _species(key, row, table["sources"]) for key, row in table["species"].items()}


def find_species(name: str, own: Mapping[str, Species] | None = None) -> Species | None:
    """The species a grower means by ``name`` (common or Latin, any case, spaces or underscores), or None if not in
    the table. ``own``: a farm's own rows by key, in place of the table's or beside them.
    """
    wanted = plain_name(name)
    found = next((one for one in (own or {}).values() if wanted in _names(one)), None)
    return found or _names_in_table().get(wanted)


def known_species_names(own: Mapping[str, Species] | None = None) -> tuple[str, ...]:
    """Names that :func:`find_species` understands, sorted, one for each species: its key in words."""
    return tuple(sorted({species_name(key) for key in (*species_table(), *(own or {}))}))


#: Names whose sign a key cannot hold.
_WITH_APOSTROPHE = {"lions mane": "lion's mane"}


def species_name(name: str) -> str:
    """A species' key or a grower's name for one, as people are shown it: "king_oyster" is "king oyster"."""
    words = name.replace("_", " ")
    return _WITH_APOSTROPHE.get(words, words)


def usual_pace(kind: Kind, species: str, substrate: str, own: Mapping[str, Species] | None = None) -> tuple[Pace, str]:
    """The row that fits best, and a note on what was not known (empty if everything was).

    The species on that class of substrate in that kind; else that species in that kind on anything; else the kind's
    generic row. ``own``: as for :func:`find_species`.
    """
    known = find_species(species, own)
    generic = generic_pace(kind)
    if known is None:
        said = f"species {species!r} is not in the species table" if species else "no species given"
        return generic, f"{said}: days usual for any {kind} were taken"
    in_kind = [pace for pace in known.paces if pace.kind == kind]
    exact = [pace for pace in in_kind if pace.substrate == substrate_class(substrate)]
    if exact:
        return exact[0], ""
    if in_kind:
        said = f"substrate {substrate!r}" if substrate else "no substrate"
        return in_kind[0], f"{said}: days of {known.name} in a {kind} on {in_kind[0].substrate} were taken"
    return generic, f"no days of {known.name} in a {kind} are known: those usual for any {kind} were taken"


def generic_pace(kind: Kind) -> Pace:
    """The row for a species or substrate that is not in the table: what is usual for the kind."""
    usual = vessel_kinds()[kind]
    return Pace(kind, "", usual.lag_days, usual.through_days, KINDS_SOURCE)


@cache
def _names_in_table() -> dict[str, Species]:
    return {name: species for species in species_table().values() for name in _names(species)}


def _names(species: Species) -> set[str]:
    return {plain_name(name) for name in (species.key, species.latin, *species.names) if name}


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads((files("calibration") / "species.toml").read_text("utf-8"))


def _species(key: str, row: dict[str, Any], sources: dict[str, str]) -> Species:
    def sourced(name: str) -> Sourced:
        value, source = row[name]
        return Sourced(float(value), sources[source])

    paces = tuple(
        Pace(kind, substrate, float(lag), float(through), sources[source])
        for kind, substrate, lag, through, source in row["pace"]
        if kind in KINDS
    )
    return Species(
        key=key,
        latin=row["latin"],
        names=tuple(row["names"]),
        temperature_min_c=sourced("temperature_min_c"),
        temperature_optimum_c=sourced("temperature_optimum_c"),
        temperature_max_c=sourced("temperature_max_c"),
        radial_mm_per_day=sourced("radial_mm_per_day"),
        consolidation_days=sourced("consolidation_days"),
        flushes=sourced("flushes"),
        first_harvest_days=sourced("first_harvest_days"),
        pins_to_harvest_days=sourced("pins_to_harvest_days"),
        flush_interval_days=sourced("flush_interval_days"),
        spawn_rate_percent=sourced("spawn_rate_percent"),
        colours=tuple(row["colours"]),
        paces=paces,
    )
