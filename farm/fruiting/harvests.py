"""Harvests: recorded for one vessel or many, taken back, listed; a table of them is in harvest_table.py."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import asdict, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select

from farm.fruiting.harvest_doubts import harvest_doubt
from farm.records import (
    closed_caution,
    contents_of,
    event_fault,
    ids_in_short,
    keep_taken_back,
    said_once,
    was_taken_back,
)
from farm.records.models import TAKEN_OUT, Event, Harvest, Vessel
from farm.store import Farm, in_chunks, iso, on_farm_clock, schema
from farm.store.errors import DoubtfulHarvestError, HarvestError

if TYPE_CHECKING:
    from sqlalchemy import Select

#: The largest weight of one harvest, kg, and the largest number of a flush.
_MOST_KG, MOST_FLUSHES = 1000.0, 50
#: Begin and end of a time; the end is not in it.
Span = tuple[datetime, datetime]
IF_SURE = "--yes notes it all the same"


def record_harvest(
    farm: Farm,
    vessels: Sequence[Vessel],
    fresh_kg: float,
    at: datetime,
    *,
    weighed_together: bool = False,
    flush: int | None = None,
    sure: bool = False,
) -> list[Harvest]:
    """Note what was picked from vessels at a moment, all or none.

    fresh_kg: from each of them; with weighed_together from all of them, and each is given an equal share. flush: its
    number, None where it is to be worked out from the days between harvests. sure: also where that is most likely a
    mistake. Raises HarvestError, DoubtfulHarvestError where being sure would help.
    """
    if not 0 < fresh_kg <= _MOST_KG:
        raise HarvestError(f"a harvest weighs more than 0 and at most {farm.units.weight(_MOST_KG)}")
    if flush is not None and not 1 <= flush <= MOST_FLUSHES:
        raise HarvestError(f"flushes are counted from 1 to {MOST_FLUSHES}")
    several = weighed_together and len(vessels) > 1
    share = fresh_kg / len(vessels) if several else fresh_kg
    together = ids_in_short(one.id for one in vessels) if several else ""
    noted = [Harvest(one.id, at, share, flush, together) for one in vessels]
    pairs = list(zip(noted, vessels, strict=True))
    faults = said_once((vessel.id, harvest_fault(farm, harvest, vessel)) for harvest, vessel in pairs)
    spoiled = [vessel.id for harvest, vessel in pairs if is_spoiled(farm, harvest, vessel)]
    faults.append(spoiled_words(spoiled) if spoiled else "")
    with farm.writing() as connection:
        known = by_moment(select_harvests(connection, {one.id for one in vessels}))
        faults += [taken_words(farm, known[key]) for one in noted if (key := (one.vessel, one.at)) in known]
        if any(faults):
            raise HarvestError("; ".join(dict.fromkeys(filter(None, faults))) + "; nothing was noted")
        before = fresh_totals(known.values())
        doubts = said_once((one.id, harvest_doubt(farm, one, before.get(one.id, 0.0) + share)) for one in vessels)
        if doubts and not sure:
            raise DoubtfulHarvestError(f"{'; '.join(doubts)}; nothing was noted ({IF_SURE})")
        connection.execute(insert(schema.harvests), [asdict(one) for one in noted])
    return noted


def newest_harvests(farm: Farm, vessels: Sequence[Vessel], span: Span | None = None) -> list[tuple[Harvest, bool]]:
    """The harvest of each vessel that ``take_back_harvest`` would take back, of those that have one.

    With each whether a later one was taken back already: who repeats an undo may not know that it reaches further back.
    """
    with farm.reading() as connection:
        last = [one for vessel in vessels if (one := _entered_last(connection, vessel.id, span)) is not None]
        return [(one, was_taken_back(connection, one.vessel, "harvest", number)) for number, one in last]


def take_back_harvest(
    farm: Farm, vessels: Sequence[Vessel], only: datetime | None = None, span: Span | None = None
) -> list[Harvest]:
    """Take back the harvest of each vessel that was entered last, whatever its day, all or none. Raises HarvestError.

    Vessels that were weighed together are taken back together. only: its moment, as a button names it that may be older
    than what was noted since; another one is refused. span: begin and end of the time in which it was picked, as a
    person names it.
    """
    ids = {one.id for one in vessels}
    with farm.writing() as connection:
        last = [(vessel.id, _entered_last(connection, vessel.id, span)) for vessel in vessels]
        when = f" at that time; `spawnrun vessel show {vessels[0].id}` lists them" if span and vessels else ""
        faults = [f"no harvest of {vessel} is noted{when}" for vessel, entry in last if entry is None]
        entries = [entry for _, entry in last if entry is not None]
        found = [harvest for _, harvest in entries]
        faults += [f"{taken_words(farm, one)}, noted last" for one in found if only not in (None, one.at)]
        faults += list(dict.fromkeys(filter(None, (_left_behind(connection, one, ids) for one in found))))
        if faults:
            raise HarvestError("; ".join(faults))
        delete_harvests(connection, found)
        for number, one in entries:
            left = _entered_last(connection, one.vessel)
            newest_left = 0 if left is None else left[0]
            if number > newest_left:  # not where a later one stays, as when an older one was named
                keep_taken_back(connection, one.vessel, "harvest", newest_left)
    return found


def list_harvests(farm: Farm, ids: Collection[str] | None = None) -> list[Harvest]:
    """Harvests up to the farm's now of the vessels of these ids (None: of all), oldest first."""
    with farm.reading() as connection:
        found = [one for one in select_harvests(connection, ids) if one.at <= farm.now]
    return sorted(found, key=lambda one: (one.at, one.vessel))


def harvest_cautions(farm: Farm, vessels: Sequence[Vessel]) -> list[str]:
    """Warnings on vessels whose harvest was noted: closed, not for fruiting, more than they can have borne."""
    others = ids_in_short(one.id for one in vessels if one.used_for != "fruiting")
    kg = fresh_totals(list_harvests(farm, {one.id for one in vessels}))
    heavy = [one for one in vessels if 0 < contents_of(farm, one) < kg.get(one.id, 0.0)]
    weighed = (
        f"{one.id}: {farm.units.weight(kg[one.id])} in all, of {farm.units.weight(contents_of(farm, one))}"
        for one in heavy
    )
    found = (
        closed_caution(vessels),
        f"not for fruiting, as its record or its substrate tells: {others}" if others else "",
        f"more mushrooms than wet substrate: is the unit right? {'; '.join(weighed)}" if heavy else "",
    )
    return [one for one in found if one]


def select_harvests(connection: Connection, ids: Collection[str] | None) -> Iterator[Harvest]:
    """Harvests of the vessels of these ids (None: of all), within a transaction; in no order."""
    table = schema.harvests
    for chosen in in_chunks(table.c.vessel, ids):
        yield from (Harvest(*row) for row in connection.execute(_columns().where(chosen)))


def _columns() -> "Select[Any]":
    return select(*(schema.harvests.c[fact.name] for fact in fields(Harvest)))


def delete_harvests(connection: Connection, harvests: Iterable[Harvest]) -> None:
    """Delete harvests within a transaction."""
    row = schema.harvests.c
    for one in harvests:
        connection.execute(delete(schema.harvests).where(row.vessel == one.vessel, row.at == one.at))


def _entered_last(connection: Connection, vessel: str, span: Span | None = None) -> tuple[int, Harvest] | None:
    """The harvest of a vessel that was entered last (of those picked in a span), with its number in order of entry."""
    row = schema.harvests.c
    mine = _columns().add_columns(row.id).where(row.vessel == vessel)
    if span is not None:
        mine = mine.where(row.at >= span[0], row.at < span[1])
    last = connection.execute(mine.order_by(row.id.desc()).limit(1)).first()
    return None if last is None else (last.id, Harvest(*last[:-1]))


def _left_behind(connection: Connection, harvest: Harvest, ids: Collection[str]) -> str:
    """That vessels weighed together with this one are not among those of ids, in words; "" where all are."""
    if not harvest.together:
        return ""
    row = schema.harvests.c
    same = _columns().where(row.at == harvest.at, row.together == harvest.together)
    if all(one.vessel in ids for one in connection.execute(same)):
        return ""
    return f"{harvest.together} were weighed together: take back all of them"


def fresh_totals(harvests: Iterable[Harvest]) -> dict[str, float]:
    """Fresh weight of harvests by vessel, kg."""
    found: dict[str, float] = {}
    for one in harvests:
        found[one.vessel] = found.get(one.vessel, 0.0) + one.fresh_kg
    return found


def by_moment(harvests: Iterable[Harvest]) -> dict[tuple[str, datetime], Harvest]:
    """Harvests by vessel and moment."""
    return {(one.vessel, one.at): one for one in harvests}


def harvest_fault(farm: Farm, harvest: Harvest, vessel: Vessel) -> str:
    """Why a harvest of a vessel cannot be true, in words; "" where it can."""
    return event_fault(farm, Event(vessel.id, "harvest", harvest.at), vessel)


def is_spoiled(farm: Farm, harvest: Harvest, vessel: Vessel) -> bool:
    """Whether it was picked on the day on which the vessel was taken out as contaminated, or later."""
    if vessel.state not in TAKEN_OUT:
        return False
    out = farm.now if vessel.closed_at is None else min(vessel.closed_at, farm.now)
    return on_farm_clock(harvest.at, farm.zone).date() >= on_farm_clock(out, farm.zone).date()


def spoiled_words(ids: Sequence[str]) -> str:
    """That vessels were confirmed as contaminated, in words."""
    return (
        f"contamination was confirmed: {ids_in_short(ids)}; discard it, nothing from it is food (what was picked on an"
        " earlier day is noted with that day)"
    )


def taken_words(farm: Farm, known: Harvest) -> str:
    """Which harvest a vessel has already, in words."""
    return f"{known.vessel} has a harvest of {farm.units.weight(known.fresh_kg)} at {iso(known.at, farm.zone)}"
