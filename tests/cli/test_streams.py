"""Output to a terminal that cannot show a character, to a closed stream, to a full disk: replaced or reported."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow
COMMANDS = (("review", "list"), ("vessel", "show", "B002"), ("ready", "--format", "json"), ("nonsense",))


def run(home: Path, command: tuple[str, ...], redirect: str = "", **given: str) -> "subprocess.CompletedProcess[bytes]":
    """The installed command as a shell runs it."""
    words = [sys.executable, "-c", "from cli import main; main()", *command]
    shown = " ".join(f"'{word}'" for word in words)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **given}
    return subprocess.run(
        ["sh", "-c", f"{shown} {redirect}"], cwd=home, capture_output=True, check=False, timeout=180, env=environment
    )


@pytest.fixture
def home(week: Path) -> Path:
    """A farm with a note and a shelf in characters that few encodings have."""
    from farm.records import add_note
    from farm.store import open_farm

    with open_farm(week) as farm:
        add_note(farm, "B002", "\N{SNOWMAN} caf\N{LATIN SMALL LETTER E WITH ACUTE} \N{CJK UNIFIED IDEOGRAPH-83CC}")
    return week


@pytest.mark.skipif(os.name == "nt", reason="runs a POSIX shell")
@pytest.mark.parametrize("encoding", ["latin-1", "cp437"])
def test_letters_that_a_terminal_does_not_have_are_replaced(home: Path, encoding: str) -> None:
    for command in COMMANDS:
        told = run(home, command, PYTHONIOENCODING=encoding)
        assert told.returncode in (0, 2), (command, told.stderr)
        assert b"Traceback" not in told.stderr, (command, told.stderr)
    note = run(home, ("vessel", "show", "B002"), PYTHONIOENCODING=encoding).stdout.decode(encoding)
    assert "? caf" in note
    listed = json.loads(run(home, ("ready", "--format", "json"), PYTHONIOENCODING=encoding).stdout.decode(encoding))
    assert listed == json.loads(run(home, ("ready", "--format", "json"), PYTHONIOENCODING="utf-8").stdout)


@pytest.mark.skipif(os.name == "nt", reason="runs a POSIX shell")
@pytest.mark.parametrize("closed", [">&-", ">&- 2>&-"])
def test_a_closed_stream_is_reported_and_the_exit_code_is_that_of_the_work(home: Path, closed: str) -> None:
    for command in COMMANDS:
        meant = run(home, command).returncode
        told = run(home, command, closed)
        assert told.returncode == meant, (command, told.stderr)
        assert b"Traceback" not in told.stderr, (command, told.stderr)
        if closed == ">&-":
            assert b"standard output is closed" in told.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no such device")
def test_output_to_a_full_disk_is_reported(home: Path) -> None:
    for command in COMMANDS[:-1]:
        told = run(home, command, "> /dev/full")
        assert told.returncode == 1, (command, told.stderr)
        assert b"No space left" in told.stderr, (command, told.stderr)
        assert b"Traceback" not in told.stderr, (command, told.stderr)
