"""Names of species: the key of one, and those that are not known, which may be mistyped."""

from collections.abc import Iterable

from calibration import find_species, known_species_names, plain_name
from farm.store import Farm, did_you_mean


def unknown_species(farm: Farm, names: Iterable[str]) -> tuple[str, ...]:
    """Those of the names that are neither in the species table nor set by the farm, sorted, each once; "" is none."""
    return tuple(sorted({name for name in names if name and find_species(name, farm.own_species) is None}))


def species_question(farm: Farm, name: str) -> str:
    """What an unknown species may have been meant for, such as "; did you mean oyster?"; "" where none is alike."""
    return did_you_mean(plain_name(name), known_species_names(farm.own_species))


def species_key(farm: Farm, name: str) -> str:
    """The key of a species, the same for all its names."""
    known = find_species(name, farm.own_species)
    return known.key if known else plain_name(name).replace(" ", "_")
