"""Harvests: recorded for one vessel or many, taken in from a table, taken back, listed."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import asdict, fields
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar

from pydantic import Field
from sqlalchemy import Connection, delete, insert, select

from farm.records import (
    ImportCount,
    Kilograms,
    Line,
    Moment,
    TableRow,
    VesselId,
    by_line,
    check_table,
    closed_caution,
    contents_of,
    event_fault,
    ids_in_short,
    said_once,
    select_vessels,
)
from farm.records.models import TAKEN_OUT, Event, Harvest, Vessel
from farm.store import Farm, Quantity, in_chunks, iso, on_farm_clock, schema, to_instant
from farm.store.errors import HarvestError, InputFileError

if TYPE_CHECKING:
    from sqlalchemy import Select

#: Columns of a table of harvests.
HARVEST_COLUMNS = ("vessel", "at", "kg", "flush")
#: The largest weight of one harvest, kg, and the largest number of a flush.
_MOST_KG, _MOST_FLUSHES = 1000.0, 50
_TELL_TIMES = "give the time of day of each"


class HarvestRow(TableRow):
    """A row of a table of harvests; a column "weight" is in the farm's unit, or each cell names its own."""

    other_names: ClassVar[dict[str, str]] = {
        "id": "vessel", "day": "at", "date": "at", "harvested": "at", "weight": "kg", "fresh_kg": "kg",
    }  # fmt: skip
    in_farm_units: ClassVar[dict[str, Quantity]] = {"weight": "weight"}
    vessel: VesselId
    at: Moment
    kg: Kilograms
    flush: Annotated[int, Field(ge=1, le=_MOST_FLUSHES)] | None = None
    together: str = ""


def record_harvest(
    farm: Farm,
    vessels: Sequence[Vessel],
    fresh_kg: float,
    at: datetime,
    *,
    weighed_together: bool = False,
    flush: int | None = None,
) -> list[Harvest]:
    """Note what was picked from vessels at a moment, all or none.

    fresh_kg: from each of them; with weighed_together from all of them, and each is given an equal share. flush: its
    number, None where it is to be worked out from the days between harvests. Raises HarvestError.
    """
    if not 0 < fresh_kg <= _MOST_KG:
        raise HarvestError(f"a harvest weighs more than 0 and at most {farm.units.weight(_MOST_KG)}")
    if flush is not None and not 1 <= flush <= _MOST_FLUSHES:
        raise HarvestError(f"flushes are counted from 1 to {_MOST_FLUSHES}")
    several = weighed_together and len(vessels) > 1
    share = fresh_kg / len(vessels) if several else fresh_kg
    together = ids_in_short(one.id for one in vessels) if several else ""
    noted = [Harvest(one.id, at, share, flush, together) for one in vessels]
    pairs = list(zip(noted, vessels, strict=True))
    faults = said_once((vessel.id, _fault(farm, harvest, vessel)) for harvest, vessel in pairs)
    spoiled = [vessel.id for harvest, vessel in pairs if _is_spoiled(farm, harvest, vessel)]
    faults.append(_spoiled_words(spoiled) if spoiled else "")
    with farm.writing() as connection:
        known = _by_moment(select_harvests(connection, {one.id for one in vessels}))
        faults += [_taken_words(farm, known[key]) for one in noted if (key := (one.vessel, one.at)) in known]
        if any(faults):
            raise HarvestError("; ".join(dict.fromkeys(filter(None, faults))) + "; nothing was noted")
        connection.execute(insert(schema.harvests), [asdict(one) for one in noted])
    return noted


def take_back_harvest(farm: Farm, vessels: Sequence[Vessel]) -> list[Harvest]:
    """Take back the harvest of each vessel that was entered last, whatever its day, all or none. Raises HarvestError.

    Vessels that were weighed together are taken back together.
    """
    ids = {one.id for one in vessels}
    with farm.writing() as connection:
        last = [(vessel.id, _entered_last(connection, vessel.id)) for vessel in vessels]
        faults = [f"no harvest of {vessel} is noted" for vessel, harvest in last if harvest is None]
        found = [harvest for _, harvest in last if harvest is not None]
        faults += list(dict.fromkeys(filter(None, (_left_behind(connection, one, ids) for one in found))))
        if faults:
            raise HarvestError("; ".join(faults))
        _delete(connection, found)
    return found


def import_harvests(farm: Farm, source: Path) -> ImportCount:
    """Take in a table of harvests (HARVEST_COLUMNS), all of it or nothing. Raises InputFileError.

    A harvest that is known already is passed over; another one of the same vessel at the same moment is a fault.
    """
    with farm.writing() as connection:
        wanted, known = _checked_table(farm, connection, source)
        fresh = [harvest for harvest in wanted if (harvest.vessel, harvest.at) not in known]
        if fresh:
            connection.execute(insert(schema.harvests), [asdict(one) for one in fresh])
    return ImportCount(len(fresh), 0, len(wanted) - len(fresh))


def take_back_table(farm: Farm, source: Path) -> int:
    """Take back the harvests of a table that was taken in; how many there were. Raises InputFileError, HarvestError."""
    with farm.writing() as connection:
        wanted, known = _checked_table(farm, connection, source)
        found = [harvest for harvest in wanted if (harvest.vessel, harvest.at) in known]
        if not found:
            raise HarvestError(f"no harvest of {source} is noted")
        _delete(connection, found)
    return len(found)


def _checked_table(
    farm: Farm, connection: Connection, source: Path
) -> tuple[list[Harvest], dict[tuple[str, datetime], Harvest]]:
    """The harvests of a table, and those of its vessels that are known. Raises InputFileError naming all faults."""
    lines, problems = check_table(source, HarvestRow, farm.settings.date_order, farm.units)
    vessels = {one.id: one for one in select_vessels(connection, {line.row.vessel for line in lines})}
    known = _by_moment(select_harvests(connection, set(vessels)))
    wanted: dict[tuple[str, datetime], Harvest] = {}
    for line, harvest in ((one, _harvest(farm, one)) for one in lines):
        key = (harvest.vessel, harvest.at)
        where = f"line {line.number}, column"
        if (vessel := vessels.get(harvest.vessel)) is None:
            problems.append(f"{where} vessel: no vessel {harvest.vessel}")
        elif fault := _fault(farm, harvest, vessel):
            problems.append(f"{where} at: {fault}")
        elif key not in known and _is_spoiled(farm, harvest, vessel):
            problems.append(f"{where} at: {_spoiled_words([vessel.id])}")
        elif key in wanted:
            problems.append(f"{where} at: {_taken_words(farm, wanted[key])} in this table too; {_TELL_TIMES}")
        elif key in known and not _same(known[key], harvest):
            problems.append(f"{where} kg: {_taken_words(farm, known[key])}")
        wanted.setdefault(key, harvest)
    if problems:
        raise InputFileError(str(source), by_line(problems))
    return list(wanted.values()), known


def list_harvests(farm: Farm, ids: Collection[str] | None = None) -> list[Harvest]:
    """Harvests up to the farm's now of the vessels of these ids (None: of all), oldest first."""
    with farm.reading() as connection:
        found = [one for one in select_harvests(connection, ids) if one.at <= farm.now]
    return sorted(found, key=lambda one: (one.at, one.vessel))


def harvest_cautions(farm: Farm, vessels: Sequence[Vessel]) -> list[str]:
    """Warnings on vessels whose harvest was noted: closed, not for fruiting, more than they can have borne."""
    others = ids_in_short(one.id for one in vessels if one.used_for != "fruiting")
    kg: dict[str, float] = {}
    for harvest in list_harvests(farm, {one.id for one in vessels}):
        kg[harvest.vessel] = kg.get(harvest.vessel, 0.0) + harvest.fresh_kg
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


def _delete(connection: Connection, harvests: Iterable[Harvest]) -> None:
    row = schema.harvests.c
    for one in harvests:
        connection.execute(delete(schema.harvests).where(row.vessel == one.vessel, row.at == one.at))


def _entered_last(connection: Connection, vessel: str) -> Harvest | None:
    row = schema.harvests.c
    last = connection.execute(_columns().where(row.vessel == vessel).order_by(row.id.desc()).limit(1)).first()
    return None if last is None else Harvest(*last)


def _left_behind(connection: Connection, harvest: Harvest, ids: Collection[str]) -> str:
    """That vessels weighed together with this one are not among those of ids, in words; "" where all are."""
    if not harvest.together:
        return ""
    row = schema.harvests.c
    same = _columns().where(row.at == harvest.at, row.together == harvest.together)
    if all(one.vessel in ids for one in connection.execute(same)):
        return ""
    return f"{harvest.together} were weighed together: take back all of them"


def _harvest(farm: Farm, line: Line[HarvestRow]) -> Harvest:
    row = line.row
    return Harvest(row.vessel, to_instant(row.at, farm.zone), row.kg, row.flush, row.together)


def _by_moment(harvests: Iterable[Harvest]) -> dict[tuple[str, datetime], Harvest]:
    return {(one.vessel, one.at): one for one in harvests}


def _same(one: Harvest, other: Harvest) -> bool:
    return abs(one.fresh_kg - other.fresh_kg) < 1e-6 and one.flush == other.flush


def _fault(farm: Farm, harvest: Harvest, vessel: Vessel) -> str:
    return event_fault(farm, Event(vessel.id, "harvest", harvest.at), vessel)


def _is_spoiled(farm: Farm, harvest: Harvest, vessel: Vessel) -> bool:
    """Whether it was picked on the day on which the vessel was taken out as contaminated, or later."""
    if vessel.state not in TAKEN_OUT:
        return False
    out = farm.now if vessel.closed_at is None else min(vessel.closed_at, farm.now)
    return on_farm_clock(harvest.at, farm.zone).date() >= on_farm_clock(out, farm.zone).date()


def _spoiled_words(ids: Sequence[str]) -> str:
    return (
        f"contamination was confirmed: {ids_in_short(ids)}; discard it, nothing from it is food (what was picked on an"
        " earlier day is noted with that day)"
    )


def _taken_words(farm: Farm, known: Harvest) -> str:
    return f"{known.vessel} has a harvest of {farm.units.weight(known.fresh_kg)} at {iso(known.at, farm.zone)}"
