"""How far back an undo has gone: whether another one would take back something older than what was meant."""

from typing import Literal

from sqlalchemy import Connection, select, update

from farm.store.schema import vessels

#: What is entered one after the other and taken back newest first.
Entered = Literal["step", "harvest", "note"]


def keep_taken_back(connection: Connection, vessel: str, what: Entered, newest_left: int) -> None:
    """Keep that the newest of these was taken back. newest_left: number of the newest that is left, 0 for none."""
    known = _known(connection, vessel)
    mine = update(vessels).where(vessels.c.id == vessel)
    connection.execute(mine.values(taken_back={**known, what: newest_left}))


def was_taken_back(connection: Connection, vessel: str, what: Entered, newest: int) -> bool:
    """Whether a later one than this was taken back, and none was entered since. newest: its number."""
    return newest <= _known(connection, vessel).get(what, 0)


def _known(connection: Connection, vessel: str) -> dict[str, int]:
    return connection.scalar(select(vessels.c.taken_back).where(vessels.c.id == vessel)) or {}
