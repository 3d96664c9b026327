"""Damage in a farm, found and explained: what is wrong, where, and what to do about it."""

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from sqlalchemy import select

from farm.records import list_readings, load_profiles
from farm.store import RECORDS_FILE, Farm, open_farm
from farm.store.errors import SettingsError
from farm.store.schema import readings, reviews, vessels
from farm.upkeep.check_files import check_faces, check_photos
from farm.upkeep.damage import RECORDS, Damage
from farm.upkeep.doubles import check_doubles

Progress = Callable[[str, int, int], None]

_MOST_LINES = 20
_RESTORE = "restore a backup into a new folder (`spawnrun restore`)"


def check_farm(folder: Path, *, on_progress: Progress | None = None) -> list[Damage]:
    """Everything found in the farm in the folder, faults first; [] where all is well. Nothing is changed.

    Raises what opening a farm raises, but for damaged records, which are an answer.
    """
    records = folder / RECORDS_FILE
    if records.is_file() and (found := list(_check_database(records))):
        return found
    with open_farm(folder) as farm:
        found = [
            *_check_settings(farm),
            *_check_readings(farm),
            *_check_verdicts(farm),
            *_check_series(farm),
            *check_faces(farm, on_progress),
            *check_photos(farm, on_progress),
            *check_doubles(farm),
        ]
    return sorted(found, key=lambda one: not one.is_fault)


def _check_database(records: Path) -> Iterator[Damage]:
    """SQLite's own checks: of its pages and indices, and of rows that belong to one that is gone."""
    copies = sorted(path.name for path in records.parent.glob("records-v*.sqlite"))
    kept = f"; older copies lie beside it: {', '.join(copies)}" if copies else ""
    try:
        with closing(sqlite3.connect(records)) as opened:
            integrity = [row[0] for row in opened.execute(f"PRAGMA integrity_check({_MOST_LINES})")]
            orphans = [] if integrity != ["ok"] else list(opened.execute("PRAGMA foreign_key_check"))
            named = list(_orphans(opened, orphans))
    except sqlite3.DatabaseError as error:
        if "locked" in str(error):
            raise
        yield Damage(RECORDS, records.name, f"no database, or damaged: {error}", f"{_RESTORE}{kept}")
        return
    if integrity != ["ok"]:
        for one in integrity:
            yield Damage(RECORDS, records.name, one, f"{_RESTORE}{kept}")
    yield from named


def _orphans(opened: sqlite3.Connection, rows: list[tuple[str, int, str, int]]) -> Iterator[Damage]:
    for table, row, parent, _ in rows[:_MOST_LINES]:
        (belongs,) = opened.execute(
            f"SELECT {'photo' if table == 'readings' else 'vessel'} FROM {table} WHERE rowid = ?",  # noqa: S608 - ours
            (row,),
        ).fetchone()
        what = f"a row of {table} belongs to {belongs}, which is not among the {parent}"
        again = "measure its photo again (`--again`)" if table == "readings" else f"add {belongs} again"
        yield Damage(RECORDS, f"{table}, row {row}", what, f"{again}, or {_RESTORE}")
    if len(rows) > _MOST_LINES:
        yield Damage(RECORDS, "", f"and {len(rows) - _MOST_LINES} more such rows", _RESTORE)


def _check_settings(farm: Farm) -> Iterator[Damage]:
    try:
        load_profiles(farm)
    except SettingsError as error:
        yield Damage("camera", "cameras.json", str(error), "delete the file and run `spawnrun calibrate` again")


def _check_readings(farm: Farm) -> Iterator[Damage]:
    try:
        found = list_readings(farm)
    except (ValueError, KeyError, TypeError) as error:
        yield Damage(RECORDS, "readings", f"a reading cannot be understood ({type(error).__name__}: {error})", _RESTORE)
        return
    with farm.reading() as connection:
        known = set(connection.scalars(select(vessels.c.id)))
    strangers = Counter(one.vessel for one in found if one.vessel is not None and one.vessel not in known)
    for vessel, count in sorted(strangers.items()):
        yield Damage(
            "reading",
            vessel,
            f"{count} reading{'s' * (count > 1)} of {vessel}, which is no vessel of this farm",
            f"if it is one: `spawnrun vessel add {vessel}`, and measure the photos again",
            is_fault=False,
        )


def _check_verdicts(farm: Farm) -> Iterator[Damage]:
    query = select(reviews.c.id, reviews.c.vessel, reviews.c.subject, reviews.c.reading)
    with farm.reading() as connection:
        keys = select(readings.c.photo, readings.c.slot)
        kept = {f"{row.photo}-{row.slot}" for row in connection.execute(keys)}
        judged = list(connection.execute(query.where(reviews.c.reading.is_not(None), reviews.c.undone_at.is_(None))))
    for row in judged:
        if row.reading not in kept:
            yield Damage(
                "verdict",
                row.vessel,
                f"the verdict {row.subject!r} (row {row.id}) is on a reading that is no longer there",
                f"measure that photo again, or take it back: `spawnrun review undo {row.vessel}`",
            )


def _check_series(farm: Farm) -> Iterator[Damage]:
    with farm.reading() as connection:
        stale = list(connection.scalars(select(vessels.c.id).where(vessels.c.series_stale).order_by(vessels.c.id)))
    if stale:
        yield Damage(
            "series",
            ", ".join(stale[:_MOST_LINES]) + (" ..." if len(stale) > _MOST_LINES else ""),
            f"the photos of {len(stale)} vessel{'s' * (len(stale) > 1)} wait to be read in series",
            "nothing: `spawnrun measure` or `spawnrun ready` goes on with it",
            is_fault=False,
        )
