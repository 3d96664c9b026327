"""Marks vessels as changed: their series must be read again, and their summaries are stale.

A revision counts the changes, so that two processes which work on one vessel cannot take each other's mark away.
"""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, select, true, update

from farm.store.schema import vessels

#: Parameters in one query; the limits of the databases are above this.
_CHUNK = 500


def in_chunks(column: Column[str], values: Collection[str] | None) -> Iterator[ColumnElement[bool]]:
    """Conditions that together choose the rows whose column has one of the values, in order; None: one for all rows."""
    if values is None:
        yield true()
        return
    ordered = sorted(values)
    for start in range(0, len(ordered), _CHUNK):
        yield column.in_(ordered[start : start + _CHUNK])


def mark_stale(connection: Connection, ids: Collection[str], *, anew: bool = False) -> None:
    """Mark that photos, events or size of these vessels have changed.

    anew: readings were replaced, so their earlier series reading is void and every photo must be read again.
    """
    gone: dict[str, Any] = {"chapters": None} if anew else {}
    for chosen in in_chunks(vessels.c.id, ids):
        some = update(vessels).where(chosen)
        connection.execute(some.values(series_stale=True, revision=vessels.c.revision + 1, summary=None, **gone))


def has_stale_series(connection: Connection) -> bool:
    """Whether the series of some vessel is to be read again."""
    return connection.scalar(select(vessels.c.id).where(vessels.c.series_stale).limit(1)) is not None


def mark_read(connection: Connection, vessel: str, revision: int, read: Mapping[str, str]) -> bool:
    """Mark that a vessel's series was read at a revision; False where it has changed since, and is not.

    read: by side the key of the photos that have been read.
    """
    same = update(vessels).where(vessels.c.id == vessel, vessels.c.revision == revision)
    words = " ".join(f"{side}:{key}" for side, key in sorted(read.items()))
    facts = {"series_stale": False, "summary": None, "chapters": words}
    done = connection.execute(same.values(**facts, revision=vessels.c.revision + 1))
    return done.rowcount > 0
