"""A PostgreSQL server for tests, in a temporary folder on loopback."""

import os
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

#: Set in CI, where a missing server is a failure and not a skip.
NEEDED = bool(os.environ.get("SPAWNRUN_TESTS_NEED_POSTGRESQL"))


@dataclass(frozen=True)
class Server:
    """Its port, and the password of its only user."""

    port: int
    password: str

    def url(self, database: str) -> str:
        return f"postgresql://grower@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """Make a database; its URL."""
        import pg8000.native

        name = f"farm_{secrets.token_hex(6)}"
        line = pg8000.native.Connection("grower", "127.0.0.1", "postgres", self.port, self.password)
        # Sorting rules of a language, if the system has them: lists must not follow them.
        line.run(f"CREATE DATABASE {name} TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'en-US'")
        line.close()
        return self.url(name)

    @contextmanager
    def stopped(self) -> Iterator[None]:
        """Its processes are stopped, like those of a machine that hangs: connections stay open, and nothing answers."""
        mine = {pid: parent for pid, parent, command in _processes() if f"-p {self.port}" in command}
        first = next(pid for pid, parent in mine.items() if parent not in mine)  # a new child has its parent's command
        os.kill(first, signal.SIGSTOP)  # from here on it has no more children
        pids = [first, *(pid for pid, parent, _ in _processes() if parent == first)]
        for pid in pids:
            os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            for pid in pids:
                os.kill(pid, signal.SIGCONT)


def _processes() -> list[tuple[int, int, str]]:
    """Of each PostgreSQL process its number, its parent's and its command."""
    command = ["ps", "-ww", "-eo", "pid,ppid,args"]
    listed = subprocess.run(command, capture_output=True, text=True, check=True, timeout=30)
    rows = [line.split(maxsplit=2) for line in listed.stdout.splitlines()[1:]]
    return [(int(pid), int(parent), command) for pid, parent, command in rows if "postgres" in command]


@contextmanager
def running_server() -> Iterator[Server]:
    """Start a server and stop it; skip the test if PostgreSQL is not installed."""
    programs = _programs()
    if programs is None:
        if NEEDED:
            pytest.fail("no PostgreSQL server on this machine (apt-get install postgresql)")
        pytest.skip("no PostgreSQL server on this machine (apt-get install postgresql)")
    home = Path(tempfile.mkdtemp(prefix="spawnrun-postgresql-"))
    # It refuses to run as root (in a container, say); Debian's package adds a user for it.
    lower = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    if lower:
        shutil.chown(home, "postgres")
    server = Server(_free_port(), secrets.token_hex(8))
    (home / "password").write_text(server.password)
    (home / "password").chmod(0o644)

    def run(program: str, *arguments: str) -> None:
        subprocess.run(
            [*lower, programs / program, *arguments], check=True, cwd=home, stdout=subprocess.DEVNULL, timeout=120
        )

    data = str(home / "data")
    options = f"-c listen_addresses=127.0.0.1 -p {server.port} -c unix_socket_directories={home} -c fsync=off"
    try:
        run(
            "initdb", "-D", data, "-U", "grower", "-A", "scram-sha-256", "-E", "UTF8", "--locale=C", "--no-sync",
            f"--pwfile={home / 'password'}",
        )  # fmt: skip
        run("pg_ctl", "-D", data, "-o", options, "-l", str(home / "log"), "-w", "start")
        try:
            yield server
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _programs() -> Path | None:
    """The folder of initdb and pg_ctl: on the path, or in Debian's folders, newest version first."""
    if (found := shutil.which("initdb")) is not None:
        return Path(found).resolve().parent
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return versions[-1].parent if versions else None


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
