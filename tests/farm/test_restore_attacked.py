"""Manipulated backups are refused with a reason and contact no server; a killed restore can be run again."""

import json
import signal
import socket
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest

from farm.records import list_readings
from farm.store import PASSWORD_VARIABLE, Farm, load_settings, work_mark
from farm.store.errors import BackupError, FarmExistsError
from farm.upkeep import back_up, restore_farm
from tests.processes import started

ROOT = Path(__file__).parents[2]
MANIFEST = "manifest.json"


def by_hand(whole: Path, target: Path, name: str, content: bytes) -> Path:
    """A backup with another part and matching checksums."""
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(target, "w") as new:
        manifest = json.loads(old.read(MANIFEST))
        for part in manifest["parts"]:
            if part["name"] == name:
                part |= {"size": len(content), "sha256": sha256(content).hexdigest()}
        for held in old.namelist():
            if held == MANIFEST:
                new.writestr(held, json.dumps(manifest))
            else:
                new.writestr(held, content if held == name else old.read(held))
    return target


@pytest.fixture
def whole(week: Farm, tmp_path: Path) -> Path:
    return back_up(week, tmp_path / "farm.zip").path


@pytest.mark.parametrize(
    "line",
    [
        'records = "{}"', '  records="{}"', '"records" = "{}"', "'records'\t= '{}'", 'records = """{}"""',
        '"\\u0072ecords" = "{}"', 'records = """\n{}"""',
    ],
)  # fmt: skip
def test_a_server_named_in_a_backup_is_not_contacted(
    whole: Path, tmp_path: Path, line: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PASSWORD_VARIABLE, "secret")
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.2)
        address = f"postgresql://grower@127.0.0.1:{listener.getsockname()[1]}/farm"
        crafted = by_hand(whole, tmp_path / "crafted.zip", "farm.toml", line.format(address).encode())
        try:
            with restore_farm(crafted, tmp_path / "again") as farm:
                assert farm.engine.dialect.name == "sqlite"
                assert load_settings(farm.folder).records == ""
        except BackupError as error:
            assert "keeps the records on a server" in str(error) or "cannot be read" in str(error)  # noqa: PT017
            assert not (tmp_path / "again").exists()
        with pytest.raises(TimeoutError):
            listener.accept()


def records_with(change: str) -> Callable[[Path], None]:
    def run(records: Path) -> None:
        with closing(sqlite3.connect(records)) as opened:
            opened.executescript(change)

    return run


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE meta SET value = 'nine' WHERE key = 'schema_version'",
        "UPDATE meta SET value = '1' WHERE key = 'schema_version'",
        "DELETE FROM meta",
        "DROP TABLE readings",
        "DROP TABLE meta",
        "UPDATE readings SET suspects = 'no json'",
        "UPDATE readings SET flags = '{}'",
        "UPDATE vessels SET inoculated_at = 'yesterday'",
        "UPDATE photos SET taken_at = 7",
        "ALTER TABLE vessels DROP COLUMN shelf",
    ],
)
def test_manipulated_records_are_refused_with_a_reason_and_nothing_is_left(
    whole: Path, tmp_path: Path, change: str
) -> None:
    with zipfile.ZipFile(whole) as archive:
        archive.extract("records.sqlite", tmp_path)
    records_with(change)(tmp_path / "records.sqlite")
    crafted = by_hand(whole, tmp_path / "a.zip", "records.sqlite", (tmp_path / "records.sqlite").read_bytes())
    try:
        restore_farm(crafted, tmp_path / "again").close()
    except BackupError as error:
        assert str(error).startswith(str(crafted))  # noqa: PT017
        assert not (tmp_path / "again").exists()


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ("UPDATE vessels SET use = 'soup'", "vessels.use"),
        ("UPDATE vessels SET kind = '9999-12-31'", "vessels.kind"),
        ("UPDATE vessels SET temperature_c = 'warm'", "vessels.temperature_c"),
        ("UPDATE vessels SET contents_kg = 9e999", "vessels.contents_kg"),
        ("UPDATE photos SET measured_at = ''", "isoformat"),
        ("UPDATE readings SET percent = '[[['", "readings.percent"),
        ("UPDATE harvests SET flush = 'first'", "harvests.flush"),
        ("UPDATE harvests SET fresh_kg = -1", "harvests.fresh_kg"),
        ("UPDATE harvests SET at = 'noon'", "isoformat"),
        ("UPDATE events SET event = 'exploded'", "events.event"),
        ("PRAGMA foreign_keys = OFF; UPDATE photos SET hash = '../' || hash", "photos.hash"),
    ],
)
def test_values_that_no_command_writes_are_refused_by_name(
    whole: Path, tmp_path: Path, change: str, named: str
) -> None:
    with zipfile.ZipFile(whole) as archive:
        archive.extract("records.sqlite", tmp_path)
    add = (
        "INSERT INTO harvests (vessel, at, fresh_kg, together) SELECT id, '2026-03-09', 0.4, '' FROM vessels LIMIT 1;"
        "INSERT INTO events (vessel, event, at, why) SELECT id, 'moved', '2026-03-09', '' FROM vessels LIMIT 1;"
    )
    records_with(add + change)(tmp_path / "records.sqlite")
    crafted = by_hand(whole, tmp_path / "a.zip", "records.sqlite", (tmp_path / "records.sqlite").read_bytes())
    with pytest.raises(BackupError, match=r"its records cannot be understood") as refused:
        restore_farm(crafted, tmp_path / "again")
    assert named in str(refused.value)
    assert not (tmp_path / "again").exists()


def test_settings_that_are_not_text_are_refused_and_invalid_ones_are_reported_after_restore(
    whole: Path, tmp_path: Path
) -> None:
    for number, unreadable in enumerate((b"\xff\xfe", b"days_ahead = " + b"9" * 5000)):
        crafted = by_hand(whole, tmp_path / f"a{number}.zip", "farm.toml", unreadable)
        with pytest.raises(BackupError, match=r"its farm.toml cannot be read"):
            restore_farm(crafted, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    crafted = by_hand(whole, tmp_path / "b.zip", "farm.toml", b"days_ahead = 'many'\n")
    with pytest.raises(BackupError, match=r"(?s)restored, but its settings must be corrected.*days_ahead"):
        restore_farm(crafted, tmp_path / "again")
    assert (tmp_path / "again" / "records.sqlite").exists()


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system kills otherwise")
@pytest.mark.parametrize("at", ["_check_records", "_move", "rename 1", "rename 2"])
def test_a_restore_can_be_run_again_after_a_kill(week: Farm, whole: Path, tmp_path: Path, at: str) -> None:
    program = (
        "import os, signal, sys; from pathlib import Path\n"
        "from farm.upkeep import restore\n"
        "def die(*_): os.kill(os.getpid(), signal.SIGKILL)\n"
        "what, _, count = sys.argv[3].partition(' ')\n"
        "moved, move = [], Path.rename\n"
        "def rename(self, to):\n"
        "    moved.append(to)\n"
        "    return die() if len(moved) > int(count) else move(self, to)\n"
        "if count: Path.rename = rename\n"
        "else: setattr(restore, what, die)\n"
        "restore.restore_farm(Path(sys.argv[1]), Path(sys.argv[2]))\n"
    )
    folder = tmp_path / "again"
    command = [sys.executable, "-c", program, str(whole), str(folder), at]
    killed = subprocess.run(command, cwd=ROOT, check=False, timeout=120)
    assert killed.returncode == -signal.SIGKILL
    with restore_farm(whole, folder) as farm:
        assert list_readings(farm) == list_readings(week)
    assert sorted(one.name for one in folder.iterdir() if not one.name.startswith("records.sqlite-")) == [
        "faces", "farm.toml", "records.sqlite",
    ]  # fmt: skip


def test_a_folder_with_a_running_restore_is_not_changed(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "again"
    folder.mkdir()
    program = (
        "import sys; from pathlib import Path; from farm.store import work_mark\n"
        "with work_mark(Path(sys.argv[1])):\n"
        "    (Path(sys.argv[1]).parent / 'farm.toml').write_text('')\n"
        "    print('held', flush=True); sys.stdin.read()\n"
    )
    mark = folder / ".spawnrun-restoring"
    with started([sys.executable, "-c", program, mark], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        run.stdout.readline()
        with pytest.raises(BackupError, match="another process is restoring"):
            restore_farm(whole, folder)
        assert (folder / "farm.toml").exists()
        run.kill()
        run.wait(timeout=30)
    restore_farm(whole, folder).close()


def test_a_complete_farm_is_not_taken_for_a_leftover(whole: Path, tmp_path: Path) -> None:
    """Killed after its last step: the records are complete, only the mark is left."""
    restore_farm(whole, tmp_path / "again").close()
    (tmp_path / "again" / ".spawnrun-restoring").touch()
    with pytest.raises(FarmExistsError):
        restore_farm(whole, tmp_path / "again")
    assert (tmp_path / "again" / "records.sqlite").exists()
    with work_mark(tmp_path / "again" / ".spawnrun-restoring") as was_left:
        assert not was_left
