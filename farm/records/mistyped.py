"""A mistyped vessel: removed or renamed as long as nothing hangs on it."""

from collections.abc import Sequence
from dataclasses import asdict, replace

from sqlalchemy import Connection, delete, func, insert, select, update

from farm.records.models import Vessel
from farm.records.vessels import get_vessel, select_vessels
from farm.store import Farm
from farm.store.errors import VesselChangeError
from farm.store.schema import events, harvests, notes, readings, reviews, vessels


def remove_vessels(farm: Farm, chosen: Sequence[Vessel]) -> None:
    """Remove vessels with their notes, all or none. Raises VesselChangeError where anything hangs on one.

    A vessel that came from another of them hangs on none but these.
    """
    with farm.writing() as connection:
        drop_vessels(connection, chosen, "removed")


def drop_vessels(connection: Connection, chosen: Sequence[Vessel], verb: str) -> None:
    """Remove vessels within a transaction, as ``remove_vessels`` does. verb: what is refused, for the message."""
    ids = [one.id for one in chosen]
    faults = [f"{one.id}: {what}" for one in chosen if (what := _hangs_on(connection, one.id, ids))]
    if faults:
        raise VesselChangeError(f"not {verb}, since something hangs on it\n  " + "\n  ".join(faults))
    for one in ids:
        connection.execute(delete(notes).where(notes.c.vessel == one))
        connection.execute(delete(vessels).where(vessels.c.id == one))


def rename_vessel(farm: Farm, vessel_id: str, new_id: str) -> Vessel:
    """The vessel under its new id, with its notes. Raises VesselChangeError for an id that is taken, or as above."""
    vessel = get_vessel(farm, vessel_id)
    renamed = replace(vessel, id=new_id)
    with farm.writing() as connection:
        if list(select_vessels(connection, [new_id])):
            raise VesselChangeError(f"{new_id} is in the farm already")
        if what := _hangs_on(connection, vessel.id, []):
            raise VesselChangeError(f"{vessel.id} is not renamed, since something hangs on it: {what}")
        connection.execute(insert(vessels).values(asdict(renamed)))
        connection.execute(update(notes).where(notes.c.vessel == vessel.id).values(vessel=new_id))
        connection.execute(delete(vessels).where(vessels.c.id == vessel.id))
    return renamed


def _hangs_on(connection: Connection, vessel: str, but: Sequence[str]) -> str:
    """What hangs on a vessel, in words; "" for nothing. but: vessels that may have it as their source."""
    tables = {"reading": readings, "event": events, "harvest": harvests, "verdict": reviews}
    counts = {
        name: connection.scalar(select(func.count()).select_from(table).where(table.c.vessel == vessel)) or 0
        for name, table in tables.items()
    }
    below = select(func.count()).select_from(vessels).where(func.upper(vessels.c.source) == vessel)
    made = connection.scalar(below.where(vessels.c.id.not_in(but))) or 0
    found = [f"{count} {name}{'s' * (count != 1)}" for name, count in (*counts.items(), ("vessel", made)) if count]
    return ", ".join(found) + " made from it" * (made > 0)
