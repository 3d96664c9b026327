"""The version of a farm's records: older ones are brought up to date, newer ones refused."""

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, select, text, update

from farm.store.database import plain_faults, transaction
from farm.store.errors import NewerFarmError, NotAFarmError
from farm.store.safe_copy import keep_older_records
from farm.store.schema import MIGRATIONS, SCHEMA_VERSION, in_dialect, meta


def check_version(records: Path, engine: Engine) -> None:
    """Raises NotAFarmError or NewerFarmError; older records are brought up to date.

    records: the file of that name in the farm's folder, which is not there where they are on a server.
    """
    with plain_faults(records), engine.connect() as connection:
        if not inspect(connection).has_table(meta.name):
            raise NotAFarmError(_empty_records(records, engine))
        found = _version_of(connection)
    _refuse_above(records.parent, found)
    if found < SCHEMA_VERSION:
        _bring_up_to_date(records, engine, found)


def refuse_newer(records: Path) -> None:
    """Raises NewerFarmError where records in a file are newer, whatever the settings beside them are like."""
    if not records.is_file():
        return
    try:
        with closing(sqlite3.connect(f"{records.resolve().as_uri()}?mode=ro", uri=True)) as opened:
            row = opened.execute("SELECT value FROM meta WHERE key = 'schema_version'").fetchone()
    except sqlite3.Error:
        return
    if row is not None and str(row[0]).isdecimal():
        _refuse_above(records.parent, int(row[0]))


def _refuse_above(folder: Path, found: int) -> None:
    if found > SCHEMA_VERSION:
        raise NewerFarmError(f"{folder}: records of version {found}, this program knows {SCHEMA_VERSION}: update it")


def _empty_records(records: Path, engine: Engine) -> str:
    if engine.dialect.name != "sqlite":
        return f"{records.parent}: the database of its records is empty; `spawnrun init --records` fills one"
    return (
        f"{records.parent}: {records.name} is empty, as a failing disk or a copy cut short leaves it; `spawnrun"
        " restore` takes a backup into a new folder"
    )


def _version_of(connection: Connection) -> int:
    return int(connection.scalar(select(meta.c.value).where(meta.c.key == "schema_version")) or 0)


def _bring_up_to_date(records: Path, engine: Engine, found: int) -> None:
    """Bring the records to the present version, each step with its version in one transaction.

    A file of records is kept as it was, beside the new one; a server's are in its own backups. Another process may be
    doing the same: what it has done is not done again.
    """
    with plain_faults(records):
        if engine.dialect.name == "sqlite":
            keep_older_records(records, found)
        for version_reached in range(found + 1, SCHEMA_VERSION + 1):
            with transaction(engine) as connection:
                if _version_of(connection) >= version_reached:
                    continue
                for statement in MIGRATIONS[version_reached]:
                    connection.execute(text(in_dialect(statement, engine.dialect.name)))
                set_version = update(meta).where(meta.c.key == "schema_version").values(value=str(version_reached))
                connection.execute(set_version)
