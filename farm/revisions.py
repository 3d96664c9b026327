"""What marks a vessel as changed: its readings then want reading in series anew, and what was worked out is old.

A revision counts the changes, so that two processes which work on one vessel cannot take each other's mark away.
"""

from collections.abc import Collection

from sqlalchemy import Connection, update

from farm.schema import vessels

#: Parameters in one query; the limits of the databases are above this.
CHUNK = 500


def mark_stale(connection: Connection, ids: Collection[str]) -> None:
    """Say that photos, events or size of these vessels have changed."""
    ordered = sorted(ids)
    for start in range(0, len(ordered), CHUNK):
        some = update(vessels).where(vessels.c.id.in_(ordered[start : start + CHUNK]))
        connection.execute(some.values(series_stale=True, revision=vessels.c.revision + 1, summary=None))


def mark_read(connection: Connection, vessel: str, revision: int) -> bool:
    """Say that a vessel's series was read as it stood at a revision; False where it has changed since, and is not."""
    same = update(vessels).where(vessels.c.id == vessel, vessels.c.revision == revision)
    done = connection.execute(same.values(series_stale=False, revision=vessels.c.revision + 1, summary=None))
    return done.rowcount > 0
