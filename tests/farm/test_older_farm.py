"""A farm made by version 0.2.0 is brought up to date and gives the same lists; then that version refuses it by name."""

import io
import json
import re
import shutil
import sqlite3
import subprocess
import sys
import tarfile
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cli import run
from farm.store import create_farm, open_farm, record_version
from farm.store.errors import NewerFarmError, SettingsError
from farm.store.schema import SCHEMA_VERSION
from tests.farm.older import columns_of

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).parent / "version_0_2_0"
OLDER_VERSION = 7
LISTS: dict[str, Any] = json.loads((KEPT / "lists.json").read_text("utf-8"))
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d")
#: Words that were changed with intent, old and new.
REWORDED = {
    "due by now, last photo 7 days old: take one": "take a photo: due by now, the last is 7 days old",
    "47 days behind the rest of its batch": "47 days behind its batch: keep it or throw it out",
}


@pytest.fixture
def older(tmp_path: Path) -> Path:
    """The folder of a farm as that version left it."""
    folder = tmp_path / "older"
    folder.mkdir()
    shutil.copy(KEPT / "farm.toml", folder)
    with closing(sqlite3.connect(folder / "records.sqlite")) as records:
        records.executescript((KEPT / "records.sql").read_text("utf-8"))
        records.execute("PRAGMA journal_mode = WAL")
    return folder


def alike(now: Any, then: Any) -> bool:
    """Whether two printed values are the same but for what processors round otherwise: 0.02 of a number, 2 minutes."""
    if isinstance(then, dict):
        return now.keys() >= then.keys() and all(alike(now[key], old) for key, old in then.items())
    if isinstance(then, list):
        return len(now) == len(then) and all(alike(*pair) for pair in zip(now, then, strict=True))
    if isinstance(then, float):
        return bool(now == pytest.approx(then, abs=0.02))
    if isinstance(then, str) and isinstance(now, str) and MOMENT.fullmatch(then) and MOMENT.fullmatch(now):
        return abs(datetime.fromisoformat(now) - datetime.fromisoformat(then)) <= timedelta(minutes=2)
    return bool(now == then)


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    assert run([*words, "--format", "json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_it_is_brought_up_to_date_and_a_copy_is_kept(older: Path, tmp_path: Path) -> None:
    with (
        open_farm(older) as farm,
        create_farm(tmp_path / "new") as new,
        farm.reading() as one,
        new.reading() as other,
    ):
        assert columns_of(one) == columns_of(other)
    (copy,) = older.glob(f"records-v{OLDER_VERSION}-*.sqlite")
    with closing(sqlite3.connect(copy)) as kept, closing(sqlite3.connect(older / "records.sqlite")) as records:
        query = "SELECT value FROM meta WHERE key = 'schema_version'"
        assert kept.execute(query).fetchone() == (str(OLDER_VERSION),)
        assert records.execute(query).fetchone() == (str(SCHEMA_VERSION),)
        assert records.execute("PRAGMA foreign_key_check").fetchall() == []
        for table, columns in (
            ("vessels", "id, state, closed_at, inoculated_at, shelf, revision"),
            ("readings", "*"),
            ("reviews", "*"),
            ("events", "vessel, event, at"),
            ("notes", "*"),
            ("photos", "*"),
        ):
            every = f"SELECT {columns} FROM {table} ORDER BY 1, 2"  # noqa: S608 - names of this file
            assert records.execute(every).fetchall() == kept.execute(every).fetchall()


def test_a_copy_that_a_killed_process_half_made_is_taken_away(older: Path) -> None:
    killed = older / ".spawnrun-copying-killed"
    killed.mkdir()
    (killed / "in-use").touch()
    (killed / "records-v7.sqlite").write_bytes(b"half a copy")
    open_farm(older).close()
    assert [one.name for one in older.glob(".*")] == []
    assert len(list(older.glob("records-v7-*.sqlite"))) == 1


@pytest.mark.parametrize("command", ["vessel list", "review list", "curve B001", "vessel show B004"])
def test_each_list_is_the_same(older: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    """Newer versions may tell more of a vessel, and ask about one that is far behind its batch."""
    now, then = printed(capsys, *command.split(), "--farm", str(older)), LISTS[command]
    if command == "review list":
        assert [one["vessel"] for one in now if one["subject"] == "far behind"] == ["B005"]
        now = [one for one in now if one["subject"] != "far behind"]
    assert alike(now, then), (now, then)


def test_todays_list_is_the_same_but_for_what_its_bags_are_for(older: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """That version took a bag of sawdust for spawn; now it is for fruiting, and rests before (CHANGELOG 0.2.0)."""
    now = {one["vessel"]: one for one in printed(capsys, "ready", "--farm", str(older))}
    then = {one["vessel"]: one for one in LISTS["ready"]}
    assert now.keys() == then.keys()
    assert {vessel for vessel, one in now.items() if one["used_for"] == "fruiting"} == {
        "B001", "B002", "B003", "B005", "B006"
    }  # fmt: skip
    for vessel, old in then.items():
        one = now[vessel]
        of_use = {"section", "next_step"} if one["used_for"] == "fruiting" else set()
        same = [key for key in old if key not in of_use | {"marks", "ready_median", "ready_low", "ready_high"}]
        assert alike(one, {key: old[key] for key in same}), (one, old)
        assert one["marks"] == [REWORDED.get(mark, mark) for mark in old["marks"]]
        if not of_use:
            assert alike(one, {key: value for key, value in old.items() if key.startswith("ready_")}), (one, old)


@pytest.mark.parametrize("settings", ["", "a_later_setting = 1\n"])
def test_a_program_that_knows_fewer_versions_refuses_it_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: str
) -> None:
    """Also where a later version's settings are unknown to it: the records' version is what to tell."""
    create_farm(tmp_path / "new").close()
    (tmp_path / "new" / "farm.toml").write_text(settings, "utf-8")
    before = (tmp_path / "new" / "records.sqlite").read_bytes()
    monkeypatch.setattr(record_version, "SCHEMA_VERSION", OLDER_VERSION)
    with pytest.raises(NewerFarmError, match=rf"new: records of version {SCHEMA_VERSION}, .* {OLDER_VERSION}: update"):
        open_farm(tmp_path / "new")
    assert (tmp_path / "new" / "records.sqlite").read_bytes() == before


def test_an_unknown_setting_of_a_farm_of_this_version_is_named(tmp_path: Path) -> None:
    create_farm(tmp_path / "new").close()
    (tmp_path / "new" / "farm.toml").write_text("no_such = 1\n", "utf-8")
    with pytest.raises(SettingsError, match="no_such"):
        open_farm(tmp_path / "new")


@pytest.mark.slow
def test_version_0_2_0_itself_refuses_it_by_name_once_it_is_brought_up_to_date(older: Path, tmp_path: Path) -> None:
    """The program of the tag v0.2.0, where the checkout has it. (In a farm made new it names a setting instead.)"""
    archive = subprocess.run(["git", "archive", "v0.2.0"], capture_output=True, cwd=ROOT, timeout=60)
    if archive.returncode != 0:
        pytest.skip("the checkout has no tag v0.2.0")
    with tarfile.open(fileobj=io.BytesIO(archive.stdout)) as held:
        held.extractall(tmp_path / "program", filter="data")
    command = [sys.executable, "-c", "import cli; cli.main()", "vessel", "list", "--farm", str(older)]

    def asked() -> subprocess.CompletedProcess[str]:
        return subprocess.run(command, capture_output=True, text=True, cwd=tmp_path / "program", timeout=120)

    assert asked().returncode == 0
    open_farm(older).close()
    answer = asked()
    assert answer.returncode == 2
    assert f"records of version {SCHEMA_VERSION}, this program knows {OLDER_VERSION}: update it" in answer.stderr
    assert "Traceback" not in answer.stderr
