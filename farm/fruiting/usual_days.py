"""How long fruiting takes: the species table's days, or the farm's own once it has enough harvests."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import median

from calibration import Sourced, expansion, find_species
from farm.store import Farm

#: The farm's own days are used from so many on.
LEAST_OWN = 5


@dataclass(frozen=True)
class FruitingDays:
    """Days of fruiting, each with its source: from opened to the first harvest, from pins seen to a harvest, from one
    flush to the next (first harvest to first harvest); and the number of flushes.
    """

    to_first: Sourced
    from_pins: Sourced
    between: Sourced
    flushes: Sourced


def table_days(farm: Farm, species: str) -> FruitingDays:
    """The days of the species table, or as the farm's settings change them; of an unknown species the usual ones."""
    known = find_species(species, farm.own_species)

    def fact(name: str) -> Sourced:
        found: Sourced = getattr(known, name) if known else expansion().unknown_species[name]
        return found

    return FruitingDays(
        to_first=fact("first_harvest_days"),
        from_pins=fact("pins_to_harvest_days"),
        between=fact("flush_interval_days"),
        flushes=fact("flushes"),
    )


def with_own_days(days: FruitingDays, to_first: Iterable[float], between: Iterable[float]) -> FruitingDays:
    """The days with the medians of the farm's own, where there are LEAST_OWN of them or more."""
    return replace(days, to_first=_own(days.to_first, list(to_first)), between=_own(days.between, list(between)))


def _own(usual: Sourced, seen: list[float]) -> Sourced:
    return usual if len(seen) < LEAST_OWN else Sourced(median(seen), f"this farm: middle of {len(seen)}")
