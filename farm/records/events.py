"""What was done to vessels or seen of them (shaken, opened, pins, ...): noted, taken back, imported, listed."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict, fields
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import Connection, and_, delete, insert, select

from farm.records.id_ranges import ids_in_short, no_vessel_words, said_once
from farm.records.models import Event, State, Vessel
from farm.records.tables import EventName, EventRow, by_line, check_table
from farm.records.vessels import ImportCount, get_vessel, select_vessels, set_state, take_in_vessels
from farm.store import Farm, in_chunks, iso, mark_stale, schema, to_instant
from farm.store.errors import EventError, InputFileError

#: After these events a vessel is no longer on the lists.
CLOSING: tuple[EventName, ...] = ("spawned", "transferred", "thrown_out", "spent")
_MINUTE = timedelta(minutes=1)
#: A vessel in one of these states is not expected to be worked with; a quarantined one is.
_OFF_THE_LISTS: tuple[State, ...] = ("closed", "contaminated")


def event_fault(farm: Farm, event: Event, vessel: Vessel) -> str:
    """Why an event of a vessel cannot be true, in words; "" where it can.

    It must not lie before the inoculation, nor in the future of both the farm's now and the machine's clock; a day is
    allowed for clocks that differ.
    """
    at = iso(event.at, farm.zone)
    if event.at < vessel.inoculated_at:
        return f"{at}: {vessel.id} was inoculated later, {iso(vessel.inoculated_at, farm.zone)}"
    if farm.has_not_come(event.at):
        return f"{at} has not come yet"
    return ""


def closed_caution(vessels: Sequence[Vessel]) -> str:
    """A warning on what is noted of vessels that are closed or contaminated, naming them; "" where none is."""
    by_state = {state: [one.id for one in vessels if one.state == state] for state in _OFF_THE_LISTS}
    named = ", ".join(f"{ids_in_short(ids)} ({state})" for state, ids in by_state.items() if ids)
    return f"no longer on the lists: {named}; noted all the same" if named else ""


def add_event(farm: Farm, vessel_id: str, event: str, at: datetime) -> Event:
    """Note what was done to a vessel; the same event at the same moment is kept once. Raises EventError."""
    (noted,) = add_events(farm, [get_vessel(farm, vessel_id)], event, at)
    return noted


def add_events(farm: Farm, vessels: Sequence[Vessel], event: str, at: datetime) -> list[Event]:
    """Note the same of some vessels, all or none, as ``add_event`` does of one. Raises EventError."""
    noted = [Event(vessel.id, event, at) for vessel in vessels]
    pairs = zip(noted, vessels, strict=True)
    if faults := said_once((vessel.id, event_fault(farm, one, vessel)) for one, vessel in pairs):
        raise EventError("; ".join(faults))
    with farm.writing() as connection:
        _insert(connection, noted)
    return noted


def remove_event(farm: Farm, vessel_id: str, event: str, at: datetime) -> None:
    """Take back an event that was noted by mistake. Raises EventError where none of the kind is within that minute."""
    vessel = get_vessel(farm, vessel_id)
    table = schema.events
    same = and_(
        table.c.vessel == vessel.id, table.c.event == event, table.c.at > at - _MINUTE, table.c.at < at + _MINUTE
    )
    with farm.writing() as connection:
        n_gone = connection.execute(delete(table).where(same)).rowcount
        if n_gone:
            mark_stale(connection, [vessel.id])
    if not n_gone:
        shown = f"`spawnrun vessel show {vessel.id}` lists them"
        raise EventError(f"{vessel.id} has no '{event}' at {iso(at, farm.zone)}; {shown}")


def import_events(farm: Farm, source: Path) -> ImportCount:
    """Take in an events.csv (vessel, event, at; why), all of it or nothing. Raises InputFileError.

    Each row is held to the same check as an event that is noted by itself (event_fault). What was used up, thrown out
    or is spent leaves the lists.
    """
    with farm.writing() as connection:
        return _take_in_events(farm, connection, source)


def import_vessels_and_events(
    farm: Farm, vessels: Path, events: Path, *, update_known: bool = False
) -> tuple[ImportCount, ImportCount]:
    """Take in a vessels.csv and an events.csv, all of both or nothing of either. Raises InputFileError."""
    with farm.writing() as connection:
        taken_in = take_in_vessels(farm, connection, vessels, update_known=update_known)
        return taken_in, _take_in_events(farm, connection, events)


def _take_in_events(farm: Farm, connection: Connection, source: Path) -> ImportCount:
    lines, problems = check_table(source, EventRow, farm.settings.date_order)
    rows = [line.row for line in lines]
    wanted = [Event(row.vessel, row.event, to_instant(row.at, farm.zone), row.why) for row in rows]
    known = {vessel.id: vessel for vessel in select_vessels(connection, {one.vessel for one in wanted})}
    for line, event in zip(lines, wanted, strict=True):
        vessel = known.get(event.vessel)
        if vessel is None:
            problems.append(f"line {line.number}, column vessel: {no_vessel_words(event.vessel)}")
        elif fault := event_fault(farm, event, vessel):
            problems.append(f"line {line.number}, column at: {fault}")
    if problems:
        raise InputFileError(str(source), by_line(problems))
    added = _insert(connection, wanted)
    for event in wanted:
        if event.event in CLOSING and known[event.vessel].state == "running":
            set_state(connection, event.vessel, "closed", at=event.at)
    return ImportCount(added, 0, len(lines) - added)


def list_events(farm: Farm, ids: Collection[str] | None = None) -> list[Event]:
    """Events of the vessels of these ids (None: of all), oldest first."""
    with farm.reading() as connection:
        return sorted(select_events(connection, ids), key=lambda one: (one.at, one.vessel, one.event))


def events_between(farm: Farm, begin: datetime, end: datetime) -> list[Event]:
    """Events from a moment up to another, of any vessels, oldest first."""
    table = schema.events.c
    query = select(table.vessel, table.event, table.at).where(table.at >= begin, table.at < end)
    with farm.reading() as connection:
        return [Event(*row) for row in connection.execute(query.order_by(table.at, table.vessel, table.event))]


def select_events(connection: Connection, ids: Collection[str] | None) -> Iterable[Event]:
    """Events of the vessels of these ids (None: of all), within a transaction; in no order."""
    table = schema.events
    for chosen in in_chunks(table.c.vessel, ids):
        for row in connection.execute(select(*(table.c[fact.name] for fact in fields(Event))).where(chosen)):
            yield Event(*row)


def _insert(connection: Connection, wanted: Sequence[Event]) -> int:
    known = {_key(event) for event in select_events(connection, {event.vessel for event in wanted})}
    fresh = [event for key, event in {_key(event): event for event in wanted}.items() if key not in known]
    if fresh:
        connection.execute(insert(schema.events), [asdict(event) for event in fresh])
        mark_stale(connection, {event.vessel for event in fresh})
    return len(fresh)


def _key(event: Event) -> tuple[str, str, datetime]:
    """What makes two events the same, whatever reason was given."""
    return event.vessel, event.event, event.at
