"""Records on a PostgreSQL server, for a farm with several stations: address, engine, faults in plain words."""

import logging
import os
import tomllib
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Dialect, Engine, create_engine, event, make_url, text
from sqlalchemy.engine.interfaces import ExceptionContext
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from farm.store.errors import FarmBusyError, NotAFarmError, SettingsError

#: The password of the records, where it does not stand in their address.
PASSWORD_VARIABLE = "SPAWNRUN_RECORDS_PASSWORD"  # noqa: S105 - the name of it
_DRIVER = "postgresql+pg8000"
#: Any number that other programs on the server are unlikely to hold.
_WRITERS_LOCK = 0x5BA3_2026
_WAIT_MILLISECONDS = 60_000
#: A server that does not answer within this when it is connected to, seconds, or later to any question: longer than the
#: longest wait for another writer.
_CONNECT_SECONDS, _ANSWER_SECONDS = 15.0, 90.0
_LOCK_NOT_AVAILABLE = "55P03"
_EXAMPLE = "postgresql://user@host/database"
NO_ANSWER = "the server does not answer"


def records_url(address: str) -> URL:
    """The address of records on a server, from a setting. Raises SettingsError; its message has no password."""
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        raise SettingsError(f"records: not an address, such as {_EXAMPLE}") from None
    if url.get_backend_name() != "postgresql" or not url.database:
        raise SettingsError(f"records: must be empty or name a database, such as {_EXAMPLE}")
    if not url.username:
        raise SettingsError(f"records: must name a user, such as {_EXAMPLE}")
    if url.query:
        raise SettingsError(f"records: takes no options ({', '.join(sorted(url.query))}), only {_EXAMPLE}")
    return url.set(drivername=_DRIVER)


def refuse_password(address: str) -> None:
    """Raises SettingsError where the address of a command line has a password: other users see it there."""
    if records_url(address).password is not None:
        raise SettingsError(
            "records: a password in the address shows in the list of processes and in the shell's history; give it by"
            f" the environment variable {PASSWORD_VARIABLE}, and the address as {_EXAMPLE}"
        )


def without_password(address: str) -> str:
    """The address as it may be kept and shown."""
    url = records_url(address)
    shown = URL.create("postgresql", url.username, None, url.host, url.port, url.database, url.query)
    return shown.render_as_string()


def server_engine(address: str) -> Engine:
    """An engine on the server of that address; its failures are NotAFarmError. Raises SettingsError."""
    url = records_url(address)
    if url.password is None and (password := os.environ.get(PASSWORD_VARIABLE)):
        url = url.set(password=password)
    try:
        engine = create_engine(url, pool_pre_ping=True)
    except (NoSuchModuleError, ModuleNotFoundError):
        raise SettingsError("records on PostgreSQL need a driver: python -m pip install pg8000") from None
    shown = without_password(address)
    # Of a connection that is lost its pool prints a traceback when it is given back; what is wrong is told by us.
    logging.getLogger("sqlalchemy.pool").setLevel(logging.CRITICAL)

    event.listen(engine, "do_connect", partial(_connected, shown))

    @event.listens_for(engine, "handle_error")
    def _in_plain_words(context: ExceptionContext) -> None:
        code, message = _code_and_message(context)
        if code == _LOCK_NOT_AVAILABLE:
            raise FarmBusyError(
                f"{shown}: another station is writing to the records; try again when it has finished"
            ) from None
        if (reason := _reason(context, code, message)) is not None:
            raise NotAFarmError(f"{shown}: the records cannot be used: {reason}") from None

    return engine


def _connected(shown: str, dialect: Dialect, _record: object, args: list[Any], facts: dict[str, Any]) -> Any:  # noqa: ANN401 - the driver's own type
    """A connection of the driver with time limits. Raises NotAFarmError."""
    try:
        connection = dialect.connect(*args, **facts, timeout=_CONNECT_SECONDS)
    except TimeoutError:
        raise NotAFarmError(f"{shown}: the records cannot be used: {NO_ANSWER}") from None
    except AttributeError:  # the driver misses the password only when the server asks for it
        if "password" in facts:
            raise
        raise NotAFarmError(f"{shown}: the records need a password: give it by {PASSWORD_VARIABLE}") from None
    # The driver has one limit for all; its socket is not part of its interface.
    if (line := getattr(connection, "_usock", None)) is not None:
        line.settimeout(_ANSWER_SECONDS)
    return connection


def _code_and_message(context: ExceptionContext) -> tuple[str, str]:
    """The server's code (SQLSTATE; "" where it sent none) and its message."""
    args = context.original_exception.args
    answer = args[0] if args else ""
    return (answer.get("C", ""), answer.get("M", "")) if isinstance(answer, dict) else ("", str(answer))


def _reason(context: ExceptionContext, code: str, message: str) -> str | None:
    """Why the server cannot be used; None where it answered and the fault is ours."""
    # SQLSTATE classes of PostgreSQL's manual, appendix A: 28 no access, 3D no database, 42501 no right, 53 no room,
    # 57P and 08 the server goes down or the line is lost.
    if code.startswith(("28", "3D", "53", "57P", "08")) or code == "42501":
        return message
    is_line_lost = context.is_disconnect or context.connection is None
    if isinstance(context.original_exception, TimeoutError) or "timed out" in message:
        return NO_ANSWER
    if not code and (is_line_lost or isinstance(context.original_exception, OSError)):
        return message or "no answer"
    return None


def one_writer(connection: Connection) -> None:
    """Wait until no other transaction writes, as SQLite does; so the same code is right on both.

    What is looked up afterwards is what the one before has left. Does nothing where the database is no server.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SET LOCAL lock_timeout = {_WAIT_MILLISECONDS}"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _WRITERS_LOCK})


def is_on_server(settings: Path) -> bool:
    """Whether a settings file, if it can be read, keeps the records on a server."""
    try:
        return bool(tomllib.loads(settings.read_text("utf-8")).get("records"))
    except (OSError, ValueError, RecursionError):  # told when the settings are loaded
        return False
