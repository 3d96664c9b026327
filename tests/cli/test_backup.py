"""`spawnrun backup`, `restore` and `check` at the command line: messages and exit codes."""

import errno
import json
import os
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun


def test_a_farm_is_backed_up_and_restored(spawnrun: Spawnrun, week: Path) -> None:
    Path("stick").mkdir()
    made = spawnrun("backup", "stick/farm.zip", "--farm", "home")
    assert made.code == 0
    assert made.out.startswith("stick/farm.zip: 3 vessels, 6 photos' readings, 18 faces; ")
    assert spawnrun("backup", "stick/farm.zip", "--farm", "home").code == 2
    again = spawnrun("restore", "stick/farm.zip", "again")
    assert (again.code, again.out) == (0, "again: restored from stick/farm.zip\n")
    same = ("ready", "--format", "json", "--farm")
    assert spawnrun(*same, "again").out == spawnrun(*same, "home").out
    refused = spawnrun("restore", "stick/farm.zip", "again")
    assert refused.code == 2
    assert "again has a farm" in refused.err


def test_a_backup_is_named_by_farm_and_day_by_default(spawnrun: Spawnrun, week: Path) -> None:
    assert spawnrun("backup", "--no-faces", "--farm", "home").code == 0
    assert len(list(Path().glob("home-20*.zip"))) == 1
    inside = spawnrun("backup", "home/copy.zip", "--farm", "home")
    assert "copy it to another disk" in inside.err


def test_a_file_that_is_not_a_backup_is_reported(spawnrun: Spawnrun, week: Path) -> None:
    for name in ("vessels.csv", "no-such.zip", "photos"):
        outcome = spawnrun("restore", name, "again")
        assert outcome.code == 2, name
        assert name in outcome.err
        assert not Path("again").exists()


def test_a_damaged_face_is_named_by_vessel_and_photo_and_the_backup_goes_on(spawnrun: Spawnrun, week: Path) -> None:
    one, other, folder, *_ = sorted(Path("home/faces").rglob("*.face"))
    one.write_bytes(one.read_bytes()[:200])
    content = bytearray(other.read_bytes())
    content[len(content) // 2] ^= 255
    other.write_bytes(content)
    folder.unlink()
    folder.mkdir()
    made = spawnrun("backup", "farm.zip", "--farm", "home")
    assert made.code == 0
    assert "17 faces" in made.out
    warned = [line for line in made.err.splitlines() if "is damaged" in line]
    assert len(warned) == 2
    assert all("the kept face of B00" in line and "_1000.png" in line for line in warned)
    assert "1 faces are missing" in made.err
    assert spawnrun("restore", "farm.zip", "again").code == 0


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EROFS])
def test_a_full_or_read_only_disk_is_a_fault_of_the_machine(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch, fault: int
) -> None:
    def fail(*_: object) -> None:
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr("farm.upkeep.backup._appear", fail)
    made = spawnrun("backup", "farm.zip", "--farm", "home")
    assert made.code == 1
    assert f"farm.zip: no backup was made: {os.strerror(fault)}" in made.err
    assert not Path("farm.zip").exists()


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EROFS])
def test_a_restore_on_a_full_or_read_only_disk_is_a_fault_of_the_machine(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch, fault: int
) -> None:
    assert spawnrun("backup", "farm.zip", "--farm", "home").code == 0

    def fail(*_: object) -> None:
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr("farm.upkeep.restore._unpack", fail)
    restored = spawnrun("restore", "farm.zip", "again")
    assert restored.code == 1
    assert f"again: nothing was restored: {os.strerror(fault)}" in restored.err
    assert not Path("again").exists()


def test_check_exits_with_3_if_something_is_damaged(spawnrun: Spawnrun, week: Path) -> None:
    whole = spawnrun("check", "--farm", "home")
    assert (whole.code, whole.out) == (0, "  no damage found\n")
    Path("photos/20260306_1000.png").unlink()
    moved = spawnrun("check", "--farm", "home")
    assert moved.code == 0
    assert "1 of 6 photos" in moved.out
    next(Path("home/faces").rglob("*.face")).unlink()
    hurt = spawnrun("check", "--format", "json", "--farm", "home")
    assert hurt.code == 3
    assert [one["what"] for one in json.loads(hurt.out)] == ["face", "photo"]
    assert "1 fault, 1 to know of" in hurt.err
    assert spawnrun("check", "--farm", "nowhere").code == 2
