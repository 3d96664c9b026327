"""A farm's own numbers for species: they replace those of the table, or describe a strain that is not in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.kinds import Kind
from calibration.species import Pace, Sourced, Species, find_species
from calibration.substrates import plain_name

OWN_SOURCE = "this farm's settings"


@dataclass(frozen=True)
class SpeciesChange:
    """Changes that a farm makes to a species; None changes nothing. Units as in :class:`calibration.Species`.

    like: for a strain that is not in the table, the species that gives the other numbers. pace: rows (kind, class of
    substrate, lag days, days to through), each in place of the row of that kind and substrate or beside the others.
    """

    like: str = ""
    temperature_min_c: float | None = None
    temperature_optimum_c: float | None = None
    temperature_max_c: float | None = None
    radial_mm_per_day: float | None = None
    consolidation_days: float | None = None
    flushes: float | None = None
    first_harvest_days: float | None = None
    pins_to_harvest_days: float | None = None
    flush_interval_days: float | None = None
    spawn_rate_percent: float | None = None
    colours: tuple[str, ...] | None = None
    pace: tuple[tuple[Kind, str, float, float], ...] = ()

    # A settings file with a name that is not here is refused by whoever checks it (pydantic reads this).
    __pydantic_config__ = {"extra": "forbid"}  # noqa: RUF012 - a mark for the checking library, not a field


#: Names of the numbers of a species.
SPECIES_NUMBERS = (
    "temperature_min_c",
    "temperature_optimum_c",
    "temperature_max_c",
    "radial_mm_per_day",
    "consolidation_days",
    "flushes",
    "first_harvest_days",
    "pins_to_harvest_days",
    "flush_interval_days",
    "spawn_rate_percent",
)


def own_species(changes: Mapping[str, SpeciesChange]) -> dict[str, Species]:
    """The species that a farm changes or adds, by key.

    Raises ValueError for a name that is not in the table and has no ``like``, for temperatures or days out of order,
    and for negative numbers.
    """
    return {one.key: one for one in (_changed(name, change) for name, change in changes.items())}


def _changed(name: str, change: SpeciesChange) -> Species:
    known = find_species(name)
    base = find_species(change.like) if change.like else known
    if base is None:
        said = f"{change.like!r} is not in the species table" if change.like else "not in the species table: say like ="
        raise ValueError(f"{name}: {said}")
    if change.like and known is None:
        base = replace(base, key=plain_name(name).replace(" ", "_"), latin="", names=(plain_name(name),))
    elif known is not None:
        base = replace(base, key=known.key, latin=known.latin, names=known.names)
    numbers: dict[str, Any] = {
        number: Sourced(value, OWN_SOURCE)
        for number in SPECIES_NUMBERS
        if (value := getattr(change, number)) is not None
    }
    if wrong := [number for number, one in numbers.items() if one.value < 0]:
        raise ValueError(f"{name}: {', '.join(wrong)} below 0")
    if any(not 0 < lag < through for _, _, lag, through in change.pace):
        raise ValueError(
            f"{name}: pace is [kind, substrate, lag days, days to through], the lag shorter than all of it"
        )
    colours = base.colours if change.colours is None else change.colours
    made = replace(base, colours=colours, paces=_paces(base.paces, change.pace), **numbers)
    if not made.temperature_min_c.value < made.temperature_optimum_c.value < made.temperature_max_c.value:
        raise ValueError(f"{name}: temperatures are not in order: min, optimum, max")
    return made


def _paces(paces: Sequence[Pace], rows: Sequence[tuple[Kind, str, float, float]]) -> tuple[Pace, ...]:
    own = [Pace(kind, substrate, lag, through, OWN_SOURCE) for kind, substrate, lag, through in rows]
    taken = {(one.kind, one.substrate) for one in own}
    return (*own, *(one for one in paces if (one.kind, one.substrate) not in taken))
