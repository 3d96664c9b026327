"""What people write about vessels: kept, taken back, listed."""

from dataclasses import asdict
from typing import Any

from sqlalchemy import Connection, Select, delete, func, insert, select

from farm.records.models import Note
from farm.records.taken_back import keep_taken_back, was_taken_back
from farm.store import Farm, now, schema
from farm.store.errors import NoteError


def insert_note(connection: Connection, vessel_id: str, text: str) -> Note:
    """Keep a note within a transaction."""
    note = Note(vessel_id, now(), text)
    connection.execute(insert(schema.notes).values(asdict(note)))
    return note


def remove_note(farm: Farm, vessel_id: str, begins: str) -> Note:
    """Take back the newest note on a vessel. Raises NoteError where it has none, or one that begins otherwise."""
    notes = notes_of(farm, vessel_id)
    if not notes or not notes[-1].text.startswith(begins):
        raise NoteError(
            f"the newest note on {vessel_id} is {notes[-1].text!r}" if notes else f"{vessel_id} has no note"
        )
    newest = _newest(vessel_id)
    with farm.writing() as connection:
        connection.execute(delete(schema.notes).where(schema.notes.c.id == connection.scalar(newest)))
        keep_taken_back(connection, vessel_id, "note", connection.scalar(newest) or 0)
    return notes[-1]


def reaches_older_note(farm: Farm, vessel_id: str) -> bool:
    """Whether ``remove_note`` would take back a note that is older than one that was taken back already."""
    with farm.reading() as connection:
        newest = connection.scalar(_newest(vessel_id))
        return newest is not None and was_taken_back(connection, vessel_id, "note", newest)


def notes_of(farm: Farm, vessel_id: str) -> list[Note]:
    """Notes on a vessel, oldest first."""
    query = select(schema.notes).where(schema.notes.c.vessel == vessel_id).order_by(schema.notes.c.id)
    with farm.reading() as connection:
        return [Note(row.vessel, row.at, row.text) for row in connection.execute(query)]


def _newest(vessel_id: str) -> "Select[Any]":
    return select(func.max(schema.notes.c.id)).where(schema.notes.c.vessel == vessel_id)
