"""A round of the shelves: which running vessels were photographed today, and which still lack today's photo."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select

from farm.fruiting import fruiting_since
from farm.records.models import Vessel
from farm.store import Farm, on_farm_clock, to_instant
from farm.store.schema import photos, readings


@dataclass(frozen=True)
class ShelfRound:
    """A shelf ("" for vessels of none) with its running vessels, by id: seen, those with a percent of today."""

    shelf: str
    seen: tuple[str, ...]
    missing: tuple[str, ...]


def shelf_round(farm: Farm, vessels: Iterable[Vessel]) -> list[ShelfRound]:
    """The shelves of running vessels, by name, that of no shelf last; today is that of the farm's clock.

    A vessel that fruits is photographed no more, so it is not among them.
    """
    seen, running = seen_today(farm), [one for one in vessels if one.state == "running"]
    fruits = fruiting_since(farm, {one.id for one in running})
    by_shelf: dict[str, list[str]] = {}
    for one in sorted(running, key=lambda one: one.id):
        if one.id not in fruits:
            by_shelf.setdefault(one.shelf, []).append(one.id)
    return [
        ShelfRound(shelf, tuple(one for one in ids if one in seen), tuple(one for one in ids if one not in seen))
        for shelf, ids in sorted(by_shelf.items(), key=lambda one: (not one[0], one[0]))
    ]


def seen_today(farm: Farm) -> set[str]:
    """The vessels of which a photo taken today gave a percent."""
    midnight = on_farm_clock(farm.now, farm.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    begin, end = (to_instant(one, farm.zone) for one in (midnight, midnight + timedelta(days=1)))
    return _seen(farm, begin, end)


def _seen(farm: Farm, begin: datetime, end: datetime) -> set[str]:
    taken = (photos.c.taken_at >= begin, photos.c.taken_at < end, readings.c.status == "ok")
    query = select(readings.c.vessel).join(photos, photos.c.hash == readings.c.photo).where(*taken).distinct()
    with farm.reading() as connection:
        return {vessel for vessel in connection.scalars(query) if vessel}
