"""A consistent copy of the records while others write, and the copies kept before records are brought up to date."""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from farm.store.file_lock import work_folder

#: Copies made before a change of the tables that stay beside the records; older ones are deleted.
KEPT_COPIES = 3
_COPY_NAME = "records-v*-*.sqlite"
_COPYING = ".spawnrun-copying-"


def copy_records(source: Path, target: Path) -> None:
    """Copy a SQLite file whole, as it stands at one moment, also while other processes write (SQLite's backup API).

    Raises sqlite3.Error or OSError; the target is then not to be used.
    """
    with closing(sqlite3.connect(source)) as records, closing(sqlite3.connect(target)) as copy:
        records.backup(copy)
        # One file, without a log beside it, also where it is opened from a read-only place.
        copy.execute("PRAGMA journal_mode = DELETE")


def version_in(records: Path) -> int:
    """Version of the tables in a SQLite file of records. Raises sqlite3.Error."""
    with closing(sqlite3.connect(records)) as opened:
        found = opened.execute("SELECT value FROM meta WHERE key = 'schema_version'").fetchone()
    return 0 if found is None else int(found[0])


def is_unused(records: Path) -> bool:
    """Whether a file of records has no vessels yet, or no tables at all: as `init` leaves it if it is cut short."""
    try:
        with closing(sqlite3.connect(f"{records.absolute().as_uri()}?mode=ro", uri=True)) as opened:
            names = {name for (name,) in opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            return not names or ("vessels" in names and opened.execute("SELECT 1 FROM vessels").fetchone() is None)
    except sqlite3.Error:
        return False


def keep_older_records(records: Path, version: int) -> Path | None:
    """Keep records of this version as they are, beside them, named by version and moment (UTC); the newest few stay.

    None where another process has changed them meanwhile and kept its own copy. Raises sqlite3.Error or OSError.
    """
    target = records.with_name(f"records-v{version}-{datetime.now(UTC):%Y-%m-%dT%H%M%S}Z.sqlite")
    with work_folder(records.parent, _COPYING) as home:
        fresh = home / target.name
        copy_records(records, fresh)
        if version_in(fresh) != version:
            return None
        fresh.replace(target)
    copies = sorted(records.parent.glob(_COPY_NAME), key=lambda path: path.stat().st_mtime)
    for old in copies[:-KEPT_COPIES]:
        old.unlink(missing_ok=True)
    return target
