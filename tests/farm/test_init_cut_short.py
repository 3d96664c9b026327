"""A farm whose creation was interrupted, and records that cannot be used: resumed, or reported."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from farm.records import import_vessels, list_vessels
from farm.store import Farm, create_farm, open_farm
from farm.store.errors import FarmExistsError, FarmFullError, FarmShutError, NotAFarmError
from tests.permissions import file_modes_apply

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system kills otherwise")
@pytest.mark.parametrize("at", range(4))
def test_an_init_that_is_killed_can_be_run_again(tmp_path: Path, at: int) -> None:
    """Killed at each of its steps: before the records, at their tables, after them, before the settings are named."""
    program = (
        "import os, signal, sys; from pathlib import Path; from farm.store import folder\n"
        "def die(*_, **__): os.kill(os.getpid(), signal.SIGKILL)\n"
        "at, make, replace = int(sys.argv[2]), folder._make_tables, Path.replace\n"
        "def made(*facts, **more): make(*facts, **more); die()\n"
        "if at == 0: folder._engine = die\n"
        "if at == 1: folder._make_tables = die\n"
        "if at == 2: folder._make_tables = made\n"
        "if at == 3: Path.replace = lambda self, to: die() if to.name == 'farm.toml' else replace(self, to)\n"
        "folder.create_farm(Path(sys.argv[1]))\n"
    )
    farm = tmp_path / "farm"
    killed = subprocess.run([sys.executable, "-c", program, farm, str(at)], cwd=ROOT, check=False, timeout=120)
    assert killed.returncode == -signal.SIGKILL
    with pytest.raises(NotAFarmError, match="spawnrun init"):
        open_farm(farm)
    create_farm(farm).close()
    with open_farm(farm) as made:
        assert list_vessels(made) == []
    assert [one.name for one in farm.iterdir() if "half-made" in one.name] == []


def test_records_without_settings_are_not_changed(farm: Farm, vessels_csv: Path) -> None:
    import_vessels(farm, vessels_csv)
    (farm.folder / "farm.toml").unlink()
    with pytest.raises(FarmExistsError, match=r"no farm.toml: put it back, or make an empty file"):
        create_farm(farm.folder)
    (farm.folder / "farm.toml").touch()
    with open_farm(farm.folder) as opened:
        assert len(list_vessels(opened)) == 3


def test_empty_records_are_reported_as_empty(farm: Farm) -> None:
    farm.close()
    for path in farm.folder.glob("records.sqlite*"):
        path.unlink()
    (farm.folder / "records.sqlite").touch()
    with pytest.raises(NotAFarmError, match=r"records.sqlite is empty.*spawnrun restore"):
        open_farm(farm.folder)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="Windows has other permissions")
def test_a_folder_without_write_permission_is_reported_as_such(farm: Farm) -> None:
    farm.close()
    kept = [*farm.folder.iterdir(), farm.folder]
    modes = {one: one.stat().st_mode for one in kept}
    for one in kept:
        one.chmod(modes[one] & ~0o222)
    try:
        with file_modes_apply(), pytest.raises(FarmShutError, match="may not be written to; see its permissions"):
            list_vessels(open_farm(farm.folder))
    finally:
        for one in kept:
            one.chmod(modes[one])


@pytest.mark.parametrize("said", ["disk I/O error", "unable to open database file", "database or disk is full"])
def test_a_full_disk_is_reported_as_such_for_any_database_message(
    farm: Farm, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sqlite3

    usage = shutil.disk_usage(farm.folder)
    monkeypatch.setattr("farm.store.database.shutil.disk_usage", lambda _: usage._replace(free=4096))
    with pytest.raises(FarmFullError, match="make room"), farm.reading():
        raise sqlite3.OperationalError(said)
