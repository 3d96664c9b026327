"""Running vessels as stock for the next steps: what each species has of culture, of spawn and to fruit, in draws."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from calibration import (
    Kind,
    Use,
    expansion,
    find_species,
    kinds_for,
    substrate_class,
    use_of,
    vessel_kinds,
)
from farm.fruiting import FruitingDays, fruiting_since, usual_days
from farm.outlook import current_series, growth_settings
from farm.records import contents_kg, list_vessels, species_key, species_question, unknown_species
from farm.records.models import Vessel
from farm.store import Farm, days_between, on_farm_clock, to_instant
from farm.store.errors import PlanError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from growth.data import Series

    Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Usual:
    """What a farm uses for one species: its settings, else the tables.

    block_kg: of its usual fruiting kind.
    """

    species: str
    spawn_rate_percent: float
    fruiting_kind: Kind
    fruiting_substrate: str
    block_kg: float


@dataclass(frozen=True)
class Stock:
    """Running vessels in joint draws. ready (V, D): days from the farm's now; NaN where a vessel has stalled.

    species: of each, as a key. opened: those that fruit already, and since when. unread: ids of the vessels that are
    not among them because no photo of them was ever read. extra: the same draws for vessels to come, in the order
    asked for, in days since inoculation.
    """

    vessels: tuple[Vessel, ...]
    species: tuple[str, ...]
    ready: "Array"
    extra: "Array"
    opened: dict[str, datetime]
    unread: tuple[str, ...] = ()

    def rows(self, species: str, use: Use, kind: Kind | None = None) -> list[int]:
        """Rows of a species and a use (and a kind) that wait for their next step: none that fruits already."""
        return [
            n
            for n, (one, of) in enumerate(zip(self.vessels, self.species, strict=True))
            if of == species and one.used_for == use and kind in (None, one.kind) and one.id not in self.opened
        ]


def planned_species(farm: Farm, name: str) -> str:
    """The key of a species that the table, the farm's settings or one of its vessels names. Raises PlanError."""
    key = species_key(farm, name)
    if unknown_species(farm, [name]) and not _of_species(farm, key):
        asked = species_question(farm, name)
        raise PlanError(f"species {name!r} is not known{asked or '; `spawnrun species` lists those known'}")
    return key


def draw_stock(farm: Farm, left_out: Iterable[str] = (), to_come: "Sequence[Series]" = ()) -> Stock:
    """The running vessels except those left out, and future vessels, as joint draws from the whole farm's forecast.

    A vessel without a reading is not counted, as nobody knows whether it grows; one that fruits already is.
    """
    import numpy as np

    from growth.forecast import draw_days

    out = set(left_out)
    vessels, series = current_series(farm)
    ready = draw_days([*series, *to_come], settings=growth_settings(farm)).ready
    running = [n for n, one in enumerate(vessels) if one.state == "running" and one.id not in out]
    opened = fruiting_since(farm, {vessels[n].id for n in running if vessels[n].used_for == "fruiting"})
    kept = [n for n in running if series[n].days or vessels[n].id in opened]
    age = np.array([days_between(vessels[n].inoculated_at, farm.now) for n in kept])
    return Stock(
        vessels=tuple(vessels[n] for n in kept),
        species=tuple(species_key(farm, vessels[n].species) for n in kept),
        ready=ready[kept] - age[:, None],
        extra=ready[len(vessels) :],
        opened=opened,
        unread=tuple(vessels[n].id for n in running if n not in set(kept)),
    )


def fruiting_days(farm: Farm, species: str) -> FruitingDays:
    """How long fruiting takes for a species (a key): as the farm has seen it, else as usual."""
    return usual_days(farm, [species])[species]


def usual_of(farm: Farm, species: str) -> Usual:
    """What the farm uses for a species (a key)."""
    known = find_species(species, farm.own_species)
    rate = known.spawn_rate_percent if known else expansion().unknown_species["spawn_rate_percent"]
    kind, substrate = usual_bulk(farm, species)
    return Usual(
        species=species,
        spawn_rate_percent=rate.value,
        fruiting_kind=kind,
        fruiting_substrate=substrate,
        block_kg=contents_kg(farm, kind),
    )


def usual_grain(farm: Farm, species: str) -> tuple[Kind, str]:
    """The kind of vessel and the grain that the farm uses most for grain spawn of a species; else a jar of grain."""
    of = Counter(
        (one.kind, one.substrate)
        for one in _of_species(farm, species)
        if one.used_for == "spawn" and substrate_class(one.substrate) == "grain" and contents_kg(farm, one.kind) > 0
    )
    return of.most_common(1)[0][0] if of else (kinds_for("spawn")[0], "grain")


def usual_bulk(farm: Farm, species: str) -> tuple[Kind, str]:
    """The kind of vessel that the farm fruits a species in most, and on what; else a block on the table's substrate."""
    fruited = [one for one in _of_species(farm, species) if one.used_for == "fruiting"]
    of = Counter(one.kind for one in fruited if contents_kg(farm, one.kind) > 0)
    kind = of.most_common(1)[0][0] if of else kinds_for("fruiting")[0]
    return kind, usual_substrate(farm, species, kind, "fruiting")


def usual_substrate(farm: Farm, species: str, kind: Kind, use: Use | None = None) -> str:
    """The substrate that the farm uses most for a species in a kind; else the table's; "" where neither says.

    use: only of vessels for it, None for any.
    """
    same = [one for one in _of_species(farm, species) if one.kind == kind and use in (None, one.used_for)]
    if of := Counter(one.substrate for one in same if one.substrate):
        return of.most_common(1)[0][0]
    known = find_species(species, farm.own_species)
    paces = [pace.substrate for pace in known.paces if pace.kind == kind] if known else []
    rows = [one for one in paces if use in (None, use_of(kind, one))]
    return rows[0] if rows else "agar" if (use or vessel_kinds()[kind].use) == "culture" else ""


def _of_species(farm: Farm, species: str) -> list[Vessel]:
    return [one for one in list_vessels(farm) if species_key(farm, one.species) == species]


def jars_of(farm: Farm, kind: Kind) -> float:
    """Vessels of grain that one vessel of culture of a kind inoculates."""
    own = getattr(farm.settings.plan, f"jars_per_{kind}", None)
    return float(vessel_kinds()[kind].grain_vessels or expansion().grain_vessels.value) if own is None else float(own)


def grain_ratio(farm: Farm) -> float:
    """Kg of grain from one kg of colonised grain."""
    own = farm.settings.plan.grain_ratio
    return expansion().grain_ratio.value if own is None else own


def preparing(farm: Farm, substrate: str) -> tuple[str, float]:
    """How a substrate is made ready, and days from beginning to cool enough to inoculate."""
    name = substrate_class(substrate) or "other"
    row = expansion().preparing[name]
    return row.method, farm.settings.plan.prepare_days.get(name, row.days)


def day_end(farm: Farm, days: int) -> float:
    """Days from the farm's now to the end of the day so many days after today, on the farm's clock."""
    last = on_farm_clock(farm.now, farm.zone).date() + timedelta(days=days + 1)
    return days_between(farm.now, to_instant(datetime.combine(last, time()), farm.zone))


def date_of(farm: Farm, days: float) -> date:
    """The day on the farm's clock so many days from now."""
    return on_farm_clock(farm.now + timedelta(days=days), farm.zone).date()
