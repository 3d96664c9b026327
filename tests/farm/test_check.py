"""Damage is found, named, and distinguished from harmless findings."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from benchmarks.faults.before import with_doubles
from farm.measure import Vision, measure_paths, read_stale_series
from farm.records import import_vessels, list_readings
from farm.store import Farm, mark_stale
from farm.upkeep import check_farm, doubles, mend_doubles
from tests.farm.painted import paint


def change(farm: Farm, *statements: str) -> None:
    """Change a database without foreign keys, as another program might."""
    with closing(sqlite3.connect(farm.folder / "records.sqlite")) as records:
        for statement in statements:
            records.execute(statement)
        records.commit()


def a_face(farm: Farm) -> Path:
    return sorted((farm.folder / "faces").rglob("*.face"))[0]


def lose_a_face(farm: Farm) -> None:
    a_face(farm).unlink()


def spoil_a_face(farm: Farm) -> None:
    content = bytearray(a_face(farm).read_bytes())
    content[len(content) // 3] ^= 8
    a_face(farm).write_bytes(content)


def cut_a_face(farm: Farm) -> None:
    a_face(farm).write_bytes(a_face(farm).read_bytes()[:100])


def stop_midway(farm: Farm) -> None:
    a_face(farm).with_name(".half.face.123").write_bytes(b"half")


def move_a_photo(farm: Farm) -> None:
    (farm.folder.parent / "photos" / "20260304_1000.png").rename(farm.folder.parent / "moved.png")


def edit_a_photo(farm: Farm) -> None:
    paint(farm.folder.parent / "photos" / "20260304_1000.png", ("B001", 1))


def write_a_photo_over(farm: Farm) -> None:
    folder = farm.folder.parent / "photos"
    (folder / "20260304_1000.png").write_bytes((folder / "20260305_1000.png").read_bytes())


def lose_a_vessel(farm: Farm) -> None:
    change(farm, "INSERT INTO notes (vessel, at, text) VALUES ('B001', '2026-03-09 00:00:00', 'x')",
           "DELETE FROM vessels WHERE id = 'B001'")  # fmt: skip


def lose_a_photo_row(farm: Farm) -> None:
    change(farm, "DELETE FROM photos WHERE path LIKE '%20260305%'")


def judge_what_is_gone(farm: Farm) -> None:
    change(farm, "INSERT INTO reviews (vessel, subject, verdict, at, by, note, reading, undone_by) VALUES"
           " ('B001', 'wrong reading', 'confirmed', '2026-03-09 00:00:00', '', '', 'of-a-lost-one-0', '')")  # fmt: skip


def garble_a_reading(farm: Farm) -> None:
    change(farm, "UPDATE readings SET suspects = '[{' WHERE slot = 0")


def mark_a_series(farm: Farm) -> None:
    change(farm, "UPDATE vessels SET series_stale = 1 WHERE id = 'J001'")


def spoil_cameras(farm: Farm) -> None:
    (farm.folder / "cameras.json").write_text("{]")


def spoil_records(farm: Farm) -> None:
    farm.close()
    change(farm, "PRAGMA wal_checkpoint(TRUNCATE)")
    records = farm.folder / "records.sqlite"
    content = bytearray(records.read_bytes())
    content[4096 * 3 : 4096 * 6] = b"\x5a" * 4096 * 3
    records.write_bytes(content)


def no_database(farm: Farm) -> None:
    farm.close()
    (farm.folder / "records.sqlite").write_bytes(b"not a database at all" * 400)


FAULTS: list[tuple[Callable[[Farm], None], str, str, str]] = [
    (lose_a_face, "face", "is missing", "spawnrun measure --again"),
    (spoil_a_face, "face", "is damaged", "spawnrun measure --again"),
    (cut_a_face, "face", "is damaged", "spawnrun measure --again"),
    (edit_a_photo, "photo", "holds other content than was measured", "bring the original back"),
    (lose_a_vessel, "records", "a row of notes belongs to B001, which is not among the vessels", "add B001 again"),
    (lose_a_photo_row, "records", "which is not among the photos", "--again"),
    (judge_what_is_gone, "verdict", "on a reading that is no longer there", "spawnrun review undo B001"),
    (garble_a_reading, "records", "a reading cannot be understood", "spawnrun restore"),
    (spoil_cameras, "camera", "not a file of camera profiles", "calibrate"),
    (spoil_records, "records", "", "spawnrun restore"),
    (no_database, "records", "not a database", "spawnrun restore"),
]
NO_LOSS: list[tuple[Callable[[Farm], None], str, str, str]] = [
    (stop_midway, "face", "files that no reading needs", "nothing"),
    (move_a_photo, "photo", "1 of 5 photos are not where they were measured", "nothing"),
    (write_a_photo_over, "photo", "written over by a later photo", "nothing"),
    (mark_a_series, "series", "the photos of 1 vessel wait", "nothing"),
]


def test_an_intact_farm_has_no_damage_and_is_not_changed(week: Farm) -> None:
    before = list_readings(week)
    assert check_farm(week.folder) == []
    assert list_readings(week) == before


@pytest.mark.parametrize(("harm", "what", "found", "advice"), FAULTS, ids=lambda one: getattr(one, "__name__", None))
def test_damage_is_reported_with_advice(
    week: Farm, harm: Callable[[Farm], None], what: str, found: str, advice: str
) -> None:
    harm(week)
    damages = check_farm(week.folder)
    assert damages
    assert damages[0].is_fault
    assert damages[0].what == what
    assert found in damages[0].found
    assert advice in damages[0].advice


@pytest.mark.parametrize(("change", "what", "found", "advice"), NO_LOSS, ids=lambda one: getattr(one, "__name__", None))
def test_harmless_findings_are_reported_but_are_not_damage(
    week: Farm, change: Callable[[Farm], None], what: str, found: str, advice: str
) -> None:
    change(week)
    (damage,) = check_farm(week.folder)
    assert (damage.is_fault, damage.what) == (False, what)
    assert found in damage.found
    assert damage.advice.startswith(advice)


def test_a_vessel_without_a_record_is_reported(week: Farm, tmp_path: Path, vision: Vision) -> None:
    measure_paths(week, [paint(tmp_path / "photos" / "20260309_1000.png", ("X9", 5))], vision=vision)
    (damage,) = check_farm(week.folder)
    assert (damage.is_fault, damage.where) == (False, "X9")
    assert "spawnrun vessel add X9" in damage.advice


def test_a_picture_that_was_counted_twice_is_found_and_repaired(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision
) -> None:
    """As in earlier versions: hashed while a phone copied it, then read when complete, and counted again afterwards."""
    import_vessels(farm, vessels_csv)
    photo = paint(tmp_path / "photos" / "20260305_1000.png", ("B001", 30), ("B002", 12))
    paint(tmp_path / "photos" / "20260306_1000.png", ("B001", 30))  # as far on another day: no double
    measure_paths(farm, [photo.parent], vision=vision)
    content = photo.read_bytes()
    photo.write_bytes(content + b"more")  # another hash, the same pixels
    measure_paths(farm, [photo.parent], vision=vision)
    photo.write_bytes(content)
    assert len(list_readings(farm, vessel="B001")) == 3
    (found,) = [one for one in check_farm(farm.folder) if "kept twice" in one.found]
    assert found.is_fault
    assert "check --mend" in found.advice
    (mended,) = mend_doubles(farm)
    assert mended.vessels == ("B001", "B002")
    left = list_readings(farm, vessel="B001")
    assert [Path(one.photo).stem for one in left] == ["20260305_1000", "20260306_1000"]
    assert left[0].photo_hash == sha256(content).hexdigest()  # the one whose file is there
    read_stale_series(farm, vision=vision)
    assert check_farm(farm.folder) == []
    assert mend_doubles(farm) == []


def test_mending_that_is_stopped_before_it_is_kept_loses_no_face(
    week: Farm, vision: Vision, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The records name a face until the change is kept; only then its file may go."""
    with_doubles(week.folder)
    mark = mark_stale
    marked: list[object] = []

    def mark_once(*what: Any, **how: Any) -> None:
        if marked:
            raise KeyboardInterrupt
        marked.append(what)
        mark(*what, **how)

    monkeypatch.setattr(doubles, "mark_stale", mark_once)
    with pytest.raises(KeyboardInterrupt):
        mend_doubles(week)
    monkeypatch.undo()
    assert [one.where for one in check_farm(week.folder) if "missing" in one.found] == []
    assert len(mend_doubles(week)) == 5
    read_stale_series(week, vision=vision)
    assert [one for one in check_farm(week.folder) if one.is_fault] == []
