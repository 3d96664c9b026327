"""Backup to one file and restore: complete, checked before anything is written, refused if it would overwrite."""

import json
import os
import shutil
import sqlite3
import threading
import zipfile
import zlib
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest
from sqlalchemy import select

from farm.records import add_note, list_readings
from farm.store import Farm, farm_identity, open_farm, work_folder
from farm.store.errors import BackupError, FarmExistsError, FarmShutError, NewerFarmError, SpawnrunError
from farm.store.schema import tables
from farm.upkeep import back_up, check_farm, restore_farm
from tests.values import known

MANIFEST = "manifest.json"


@pytest.fixture
def week(week: Farm) -> Farm:
    """The farm of a week, with a file of camera profiles and a name."""
    (week.folder / "cameras.json").write_text("[]")
    farm_identity(week)
    return week


def rows(farm: Farm) -> dict[str, list[tuple[object, ...]]]:
    with farm.reading() as connection:
        return {
            table.name: sorted(map(tuple, connection.execute(select(table))), key=str)
            for table in tables.tables.values()
        }


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("records.sqlite")
    }


def rewritten(source: Path, target: Path, **changes: bytes | None) -> Path:
    """The archive with some parts replaced (None: removed) and its manifest unchanged."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            content = changes.get(name, old.read(name))
            if content is not None:
                new.writestr(name, content)
        for name in changes.keys() - set(old.namelist()):
            new.writestr(name, known(changes[name]))
    return target


def _is_shortcut(name: str) -> bool:
    """What the next photo of a series begins with; where it is missing, the series is read from its first photo."""
    return name.startswith("series/")


def test_a_restored_farm_equals_the_farm(week: Farm, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    made = back_up(week, tmp_path / "out" / "farm.zip")
    assert (made.vessels, made.photos, made.faces, made.lost_faces) == (3, 5, 10, 0)
    with restore_farm(made.path, tmp_path / "again") as again:
        assert rows(again) == rows(week)
        assert files(again.folder) == {name: one for name, one in files(week.folder).items() if not _is_shortcut(name)}
        assert farm_identity(again) == farm_identity(week)
    assert check_farm(tmp_path / "again") == []
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["farm.zip"]


def test_common_tools_read_a_backup_and_its_sums_are_sha256(week: Farm, tmp_path: Path) -> None:
    """With Python's zipfile and hashlib, and SQLite on the extracted records."""
    back_up(week, tmp_path / "farm.zip")
    with zipfile.ZipFile(tmp_path / "farm.zip") as archive:
        assert archive.testzip() is None
        said = {part["name"]: part["sha256"] for part in json.loads(archive.read(MANIFEST))["parts"]}
        assert said == {name: sha256(archive.read(name)).hexdigest() for name in archive.namelist() if name != MANIFEST}
        archive.extract("records.sqlite", tmp_path / "taken")
    with closing(sqlite3.connect(tmp_path / "taken" / "records.sqlite")) as records:
        assert records.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert records.execute("SELECT count(*) FROM photos").fetchone() == (5,)


def test_a_backup_without_faces_has_all_readings_and_reports_no_missing_face(week: Farm, tmp_path: Path) -> None:
    made = back_up(week, tmp_path / "small.zip", faces=False)
    assert made.faces == 0
    with restore_farm(made.path, tmp_path / "again") as again:
        assert [one.percent for one in list_readings(again)] == [one.percent for one in list_readings(week)]
    assert check_farm(tmp_path / "again") == []


def test_a_concurrent_write_is_in_the_backup_completely_or_not_at_all(week: Farm, tmp_path: Path) -> None:
    """Pairs of notes are written in one transaction each during backups: each backup has complete pairs."""
    stop = threading.Event()

    def write() -> None:
        with open_farm(week.folder) as other:
            while not stop.is_set():
                with other.writing() as connection:
                    for _ in range(2):
                        connection.execute(
                            tables.tables["notes"].insert().values(vessel="B001", at=week.now, text="one of two")
                        )

    writer = threading.Thread(target=write, daemon=True)
    writer.start()
    try:
        counts = []
        for number in range(4):
            made = back_up(week, tmp_path / f"{number}.zip")
            with restore_farm(made.path, tmp_path / f"again{number}") as again:
                counts.append(len(rows(again)["notes"]))
    finally:
        stop.set()
        writer.join(timeout=30)
        assert not writer.is_alive()
    assert all(count % 2 == 0 for count in counts)
    assert counts[-1] > 0


def test_the_series_of_a_face_written_after_the_records_were_copied_is_stale(
    week: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from farm.upkeep import backup

    real = backup._copy

    def copy_and_go_on(farm: Farm, target: Path) -> None:
        real(farm, target)
        (first, *_) = [one for one in list_readings(farm) if one.vessel == "B002"]
        face = farm.folder / "faces" / first.photo_hash[:2] / f"{first.key}.face"
        face.write_bytes(face.read_bytes())

    monkeypatch.setattr(backup, "_copy", copy_and_go_on)
    back_up(week, tmp_path / "farm.zip")
    with restore_farm(tmp_path / "farm.zip", tmp_path / "again") as again, again.reading() as connection:
        vessels = tables.tables["vessels"]
        assert list(connection.scalars(select(vessels.c.id).where(vessels.c.series_stale))) == ["B002"]


def test_a_file_is_not_overwritten(week: Farm, tmp_path: Path) -> None:
    (tmp_path / "farm.zip").write_text("mine")
    with pytest.raises(BackupError, match="is there already"):
        back_up(week, tmp_path / "farm.zip")
    assert (tmp_path / "farm.zip").read_text() == "mine"


@pytest.mark.parametrize("part", ["farm.toml", "records.sqlite", "cameras.json"])
def test_a_farm_or_a_part_of_one_is_not_overwritten(week: Farm, tmp_path: Path, part: str) -> None:
    back_up(week, tmp_path / "farm.zip")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / part).write_text("mine")
    with pytest.raises(FarmExistsError, match=part):
        restore_farm(tmp_path / "farm.zip", tmp_path / "other")
    assert files(tmp_path / "other") == ({} if part == "records.sqlite" else {part: b"mine"})


def damaged_ones(whole: Path, home: Path) -> dict[str, tuple[Path, str]]:
    with zipfile.ZipFile(whole) as archive:
        manifest = json.loads(archive.read(MANIFEST))
        face = next(name for name in archive.namelist() if name.startswith("faces/"))
    content = whole.read_bytes()
    made: dict[str, tuple[Path, str]] = {}
    for tenth in range(10):
        short = home / f"short{tenth}.zip"
        short.write_bytes(content[: len(content) * tenth // 10])
        made[f"short {tenth}"] = short, "not a backup, or cut short"
    other = [dict(part, sha256="0" * 64) if part["name"] == "farm.toml" else part for part in manifest["parts"]]
    climbing = "../../climbed.face"
    with_climb = [*manifest["parts"], {"name": climbing, "size": 1, "sha256": sha256(b"x").hexdigest()}]

    def told(**facts: object) -> bytes:
        return json.dumps(manifest | facts).encode()

    made["another content"] = (
        rewritten(whole, home / "a.zip", **{"farm.toml": b"days_ahead = 3\n"}), "'farm.toml': not of its size"
    )  # fmt: skip
    made["another sum"] = rewritten(whole, home / "b.zip", **{MANIFEST: told(parts=other)}), "its SHA-256 is another"
    made["a part lacks"] = rewritten(whole, home / "c.zip", **{face: None}), "missing"
    made["a part more"] = rewritten(whole, home / "d.zip", **{"faces/x": b"x"}), "no name that a backup has"
    made["no manifest"] = rewritten(whole, home / "e.zip", **{MANIFEST: None}), "no manifest.json"
    made["no json"] = rewritten(whole, home / "f.zip", **{MANIFEST: b"{"}), "its manifest.json is damaged"
    made["a way out"] = (
        rewritten(whole, home / "g.zip", **{climbing: b"x", MANIFEST: told(parts=with_climb)}),
        "no name that a backup has",
    )
    made["an absolute name"] = (
        rewritten(whole, home / "h.zip", **{"/etc/climbed": b"x"}), "no name that a backup has"
    )  # fmt: skip
    garbage = b"SQLite format 3\x00" + b"\x07" * 5000
    parts = [
        dict(part, size=len(garbage), sha256=sha256(garbage).hexdigest()) if part["name"] == "records.sqlite" else part
        for part in manifest["parts"]
    ]
    made["no database"] = (
        rewritten(whole, home / "i.zip", **{"records.sqlite": garbage, MANIFEST: told(parts=parts)}),
        "its records are no database",
    )
    return made


def test_each_damage_is_reported_and_nothing_is_left_behind(week: Farm, tmp_path: Path) -> None:
    whole = back_up(week, tmp_path / "farm.zip").path
    (tmp_path / "broken").mkdir()
    for name, (archive, said) in damaged_ones(whole, tmp_path / "broken").items():
        with pytest.raises(BackupError) as caught:
            restore_farm(archive, tmp_path / "again")
        assert said in str(caught.value), name
        assert not (tmp_path / "again").exists(), name
    assert not list(tmp_path.rglob("*climbed*"))


def parts_of(archive: Path) -> dict[str, bytes] | None:
    """What an archive's parts hold; None if some cannot be read."""
    try:
        with zipfile.ZipFile(archive) as opened:
            return {name: opened.read(name) for name in opened.namelist()}
    except (zipfile.BadZipFile, zlib.error, EOFError):
        return None


def test_a_flipped_bit_is_found_anywhere(week: Farm, tmp_path: Path) -> None:
    """Every 997th byte of the content, one at a time; some bytes of the zip structure have no meaning.

    Nor have the last bits of a compressed part: where a flipped one changes nothing, there is nothing to be found.
    """
    whole = back_up(week, tmp_path / "farm.zip").path
    content, parts, n_found = whole.read_bytes(), parts_of(whole), 0
    with zipfile.ZipFile(whole) as archive:
        spans = [(info.header_offset + 30 + len(info.filename), info.compress_size) for info in archive.infolist()]
    for start, size in spans:
        for at in range(start, start + size, 997):
            broken = bytearray(content)
            broken[at] ^= 4
            flipped = tmp_path / "flipped.zip"
            flipped.write_bytes(broken)
            if parts_of(flipped) == parts:
                continue
            with pytest.raises(SpawnrunError, match=r"damaged|cut short|no backup|update it"):
                restore_farm(flipped, tmp_path / "again")
            n_found += 1
    assert n_found > len(spans)


def test_a_backup_of_a_newer_program_is_refused_with_a_message(week: Farm, tmp_path: Path) -> None:
    whole = back_up(week, tmp_path / "farm.zip").path
    with zipfile.ZipFile(whole) as archive:
        manifest = json.loads(archive.read(MANIFEST))
    newer = json.dumps(manifest | {"schema_version": 99, "program_version": "9.1"}).encode()
    with pytest.raises(NewerFarmError, match=r"spawnrun 9\.1, records of version 99"):
        restore_farm(rewritten(whole, tmp_path / "newer.zip", **{MANIFEST: newer}), tmp_path / "again")


def test_too_little_room_is_reported_before_anything_is_written(
    week: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = back_up(week, tmp_path / "farm.zip").path
    monkeypatch.setattr(shutil, "disk_usage", lambda _: os.terminal_size((0, 0)) and shutil._ntuple_diskusage(10, 9, 1))
    with pytest.raises(FarmShutError, match="too little room"):
        restore_farm(whole, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_face_that_is_missing_is_counted(week: Farm, tmp_path: Path) -> None:
    next((week.folder / "faces").rglob("*.face")).unlink()
    assert back_up(week, tmp_path / "farm.zip").lost_faces == 1


def test_notes_written_after_a_backup_are_not_in_it(week: Farm, tmp_path: Path) -> None:
    back_up(week, tmp_path / "farm.zip")
    add_note(week, "B001", "later")
    with restore_farm(tmp_path / "farm.zip", tmp_path / "again") as again:
        assert rows(again)["notes"] == []


def test_what_a_killed_backup_left_goes_with_the_next_one_and_one_at_work_stays(week: Farm, tmp_path: Path) -> None:
    """A folder of half-made files is locked as long as its process works."""
    killed = tmp_path / ".spawnrun-backup-killed"
    killed.mkdir()
    (killed / "in-use").touch()
    (killed / "farm.zip").write_bytes(b"half a backup")
    with work_folder(tmp_path, ".spawnrun-backup-") as at_work:
        assert not killed.exists()
        killed.mkdir()
        (killed / "in-use").touch()
        back_up(week, tmp_path / "farm.zip")
        assert list(tmp_path.glob(".*")) == [at_work]
    assert list(tmp_path.glob(".*")) == []
