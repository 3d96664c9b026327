"""What the work to be killed starts from: farms with photos, of an older version, or with pictures kept twice."""

import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from sqlalchemy import select

from benchmarks.faults.kill import ROOT, make_farm
from farm.records import add_event, face_file, list_readings
from farm.store import RECORDS_FILE, SETTINGS_FILE, open_farm
from farm.store.schema import photos, readings

_OLDER = ROOT / "tests" / "farm" / "version_0_2_0"
#: Notes of an older farm for each row of a table to import.
_NOTES_A_ROW = 25


def before(what: str, folder: Path, measured: Path, n_rows: int) -> Path:
    """The folder as it is before the work: with a farm, unless the work makes it.

    measured: a farm with photos, which is copied. n_rows: how large an older farm is.
    """
    match what:
        case "restore" | "init":
            return folder
        case "migrate":
            return older_farm(folder, n_rows * _NOTES_A_ROW)
        case "backup":
            return measured_copy(measured, folder)
        case "series":
            return with_shakes(measured_copy(measured, folder))
        case "mend":
            return with_doubles(measured_copy(measured, folder))
        case _:
            return make_farm(folder)


def measured_copy(measured: Path, folder: Path) -> Path:
    """A copy of a farm with measured photos."""
    shutil.copytree(measured, folder)
    return folder


def with_shakes(folder: Path) -> Path:
    """Every vessel was shaken in the middle of its series, so each series is to be read from its first photo on."""
    with open_farm(folder) as farm:
        moments = sorted({one.taken_at for one in list_readings(farm)})
        for number in (1, 2, 3):
            add_event(farm, f"B00{number}", "shaken", moments[len(moments) // 2] + timedelta(hours=number))
    return folder


def with_doubles(folder: Path) -> Path:
    """Each photo is in the records twice, under another hash, with the same faces."""
    with open_farm(folder) as farm, farm.writing() as connection:
        for photo in list(connection.execute(select(photos)).mappings()):
            other = photo["hash"][::-1]
            connection.execute(photos.insert().values({**photo, "hash": other}))
            mine = readings.c.photo == photo["hash"]
            for one in list(connection.execute(select(readings).where(mine)).mappings()):
                connection.execute(readings.insert().values({**one, "photo": other}))
                face = face_file(farm, other, one["slot"])
                if (kept := face_file(farm, photo["hash"], one["slot"])).exists():
                    face.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copy(kept, face)
    return folder


def older_farm(folder: Path, n_notes: int) -> Path:
    """A farm of version 0.2.0, with so many notes that bringing it up to date takes a while."""
    folder.mkdir()
    shutil.copy(_OLDER / SETTINGS_FILE, folder)
    with closing(sqlite3.connect(folder / RECORDS_FILE)) as records:
        records.executescript((_OLDER / "records.sql").read_text("utf-8"))
        records.execute("UPDATE readings SET has_face = 0")  # its faces are not kept there
        rows = ((f"note {number} " + "x" * 200,) for number in range(n_notes))
        records.executemany(
            "INSERT INTO notes (vessel, at, text) VALUES ('B001', '2026-03-05 08:00:00.000000', ?)", rows
        )
        records.commit()
    return folder
