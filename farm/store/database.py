"""The database of the records: the engine on a file, transactions that write, and its faults in plain words."""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError

from farm.store.errors import FarmBusyError, FarmFullError, FarmShutError, NotAFarmError, SpawnrunError
from farm.store.postgresql import NO_ANSWER, one_writer

#: How long to wait for another process that writes.
BUSY_SECONDS = 20.0
#: With less room than this a disk counts as full: SQLite's log and its index begin with 32 KB each.
_LEAST_FREE_BYTES = 100_000


def sqlite_engine(records: Path) -> Engine:
    """An engine on a SQLite file, which is made if it is not there."""
    # Left to itself the driver begins a transaction only before a change of rows: neither a change of tables nor what
    # was looked up before the first change would be part of it.
    settings = {"timeout": BUSY_SECONDS, "isolation_level": None}
    # The same values as json.loads, several times faster: a large farm has millions of them.
    engine = create_engine(f"sqlite:///{records}", connect_args=settings, json_deserializer=from_json)
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


@contextmanager
def transaction(engine: Engine) -> Iterator[Connection]:
    """A transaction that may write: all of it is kept, or none; only one at a time, so what it looks up stays so."""
    with engine.execution_options(is_writing=True).begin() as connection:
        one_writer(connection)
        yield connection


def _set_up(connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's own type
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = NORMAL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _begin(connection: Connection) -> None:
    is_writing = connection.get_execution_options().get("is_writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if is_writing else "BEGIN")


@contextmanager
def plain_faults(records: Path) -> Iterator[None]:
    """Faults of the database in plain words: FarmBusyError, FarmFullError, FarmShutError or NotAFarmError."""
    try:
        yield
    except TimeoutError:  # of a server, where the driver does not make it an error of its own
        raise NotAFarmError(f"{records.parent}: the records cannot be used: {NO_ANSWER}") from None
    except (DatabaseError, sqlite3.Error) as error:
        message = str(error.orig if isinstance(error, DatabaseError) else error)
        if (foreseen := _foreseen(records, message)) is not None:
            raise foreseen from None
        raise


def _foreseen(records: Path, message: str) -> SpawnrunError | None:
    folder = records.parent
    if "locked" in message or "busy" in message:
        return FarmBusyError(f"{folder}: another process is writing to the records; try again when it has finished")
    # On a full disk SQLite also fails to open its log, or to lengthen it.
    if "is full" in message or (("unable to open" in message or "disk I/O error" in message) and _is_full(folder)):
        return FarmFullError(
            f"{folder}: the disk is full; make room and give the same command again: what was kept so far is not lost"
        )
    if "readonly" in message or "unable to open" in message:
        return FarmShutError(f"{folder}: the records cannot be used here: {_why_shut(records, message)}")
    if "not a database" in message or "malformed" in message:
        return NotAFarmError(f"{records} is damaged or no database ({message}); `spawnrun restore` takes a backup")
    if "disk I/O error" in message:
        return FarmShutError(
            f"{folder}: the disk reported an error ({message}); check the disk, and that it is connected"
        )
    return None


def _is_full(folder: Path) -> bool:
    try:
        return shutil.disk_usage(folder).free < _LEAST_FREE_BYTES
    except OSError:
        return False


def _why_shut(records: Path, message: str) -> str:
    """Which of folder, disk and file may not be written."""
    folder = records.parent
    if not folder.is_dir():
        return "the folder is not there any more; is its disk connected?"
    if hasattr(os, "statvfs") and os.statvfs(folder).f_flag & os.ST_RDONLY:
        return "its disk is read-only"
    if not _may_write(folder):
        return "the folder may not be written to; see its permissions"
    if records.exists() and not _may_write(records):
        return f"{records.name} may not be written to; see its permissions"
    return message


def _may_write(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)
