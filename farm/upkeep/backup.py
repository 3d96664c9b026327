"""A farm in one file: a zip that any tool opens, with the SHA-256 of each part in its `manifest.json`.

Written while others may be measuring: the records are those of one moment. A vessel whose faces were written after that
moment is marked in the copy, so that its series is read again.
"""

import os
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from sqlalchemy import insert, select

from farm.records import CAMERAS_FILE, face_file
from farm.store import (
    RECORDS_FILE,
    SETTINGS_FILE,
    Farm,
    copy_records,
    farm_identity,
    now,
    output_file,
    plain_faults,
    program_version,
    sqlite_engine,
    work_folder,
)
from farm.store.errors import BackupError, FarmShutError
from farm.store.schema import SCHEMA_VERSION, tables
from farm.upkeep.archive import (
    CAMERAS_PART,
    MANIFEST,
    RECORDS_PART,
    RECORDS_SETTING,
    SETTINGS_PART,
    Manifest,
    Part,
    check_archive,
    face_part,
)
from farm.upkeep.check_files import content_fault

#: The time stamp of all parts, the earliest that a zip can hold, so that the same farm makes the same file.
_ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20
_HALF_MADE = ".spawnrun-backup-"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Backup:
    """What was written.

    lost_faces: kept by the records, but not in the folder or not to be read; they are not in the backup. damaged_faces:
    vessel, and path of the photo, of each face that is in it as damaged as it is in the farm.
    """

    path: Path
    vessels: int
    photos: int
    faces: int
    lost_faces: int
    damaged_faces: tuple[tuple[str, str], ...]
    bytes: int


def back_up(farm: Farm, target: Path, *, faces: bool = True, on_face: Progress | None = None) -> Backup:
    """Write the farm's records, settings, cameras and faces into one new file, and check it by reading it back.

    faces False leaves the pictures out: the readings stay complete, but their series cannot be read again. The photos
    themselves are never in it. Raises BackupError, OutputPathError, or FarmShutError (the disk is full or read-only).
    """
    if target.exists():
        raise BackupError(f"{target} is there already: name another file")
    output_file(target)
    try:
        with plain_faults(farm.folder / RECORDS_FILE), work_folder(target.parent, _HALF_MADE) as home:
            farm_identity(farm)  # given on first use; the copy must have the same
            fresh = home / target.name
            backup = _write(farm, fresh, with_faces=faces, on_face=on_face)
            check_archive(fresh)
            _appear(fresh, target)
    except OSError as error:
        raise FarmShutError(f"{target}: no backup was made: {error.strerror or error}") from None
    except zipfile.BadZipFile as error:
        raise BackupError(f"{target}: no backup was made: {error}") from None
    return Backup(target, *backup, bytes=target.stat().st_size)


_Written = tuple[int, int, int, int, tuple[tuple[str, str], ...]]


def _write(farm: Farm, target: Path, *, with_faces: bool, on_face: Progress | None) -> _Written:
    with zipfile.ZipFile(target, "x") as out:
        begun_ns = _moment_of_the_disk(target.parent)
        records = target.parent / f"copy-of-{RECORDS_PART}"
        _copy(farm, records)
        if not with_faces:
            _forget_faces(records)
        parts: list[Part] = []
        kept, lost = _kept_faces(records), 0
        touched: set[str | None] = set()
        damaged: list[tuple[str, str]] = []
        for n_done, (photo, slot, vessel, photo_path) in enumerate(kept, start=1):
            source = face_file(farm, photo, slot)
            try:
                written_ns = source.stat().st_mtime_ns
                content = source.read_bytes()
            except (FileNotFoundError, IsADirectoryError):
                lost += 1
                continue
            parts.append(_add(out, face_part(photo, slot), content, zipfile.ZIP_STORED))
            if content_fault(content):
                damaged.append((vessel or "a vessel without a label", photo_path))
            touched |= {vessel} if written_ns >= begun_ns else set()
            if on_face is not None:
                on_face(n_done, len(kept))
        n_vessels, n_photos = _mark_touched(records, touched)
        n_faces = len(parts)
        parts += [_add(out, name, content) for name, content in _small_parts(farm)]
        parts.append(_add_file(out, RECORDS_PART, records))
        manifest = Manifest(
            program_version=program_version(),
            schema_version=SCHEMA_VERSION,
            made_at=now(),
            has_faces=with_faces,
            parts=tuple(parts),
        )
        out.writestr(zipfile.ZipInfo(MANIFEST, _ZIP_EPOCH), manifest.model_dump_json(indent=1))
    return n_vessels, n_photos, n_faces, lost, tuple(damaged)


def _copy(farm: Farm, target: Path) -> None:
    """The records as they stand at one moment, as a SQLite file, also where they lie on a server."""
    if farm.engine.dialect.name == "sqlite":
        copy_records(farm.folder / RECORDS_FILE, target)
        return
    copy = sqlite_engine(target)
    with copy.begin() as into, farm.engine.connect().execution_options(isolation_level="REPEATABLE READ") as source:
        tables.create_all(into)
        for table in tables.sorted_tables:
            for some in source.execute(select(table)).mappings().partitions(1000):
                into.execute(insert(table), [dict(row) for row in some])
    copy.dispose()
    with closing(sqlite3.connect(target)) as one:
        one.execute("PRAGMA journal_mode = DELETE")


def _moment_of_the_disk(folder: Path) -> int:
    """Now, by the clock that stamps the files (a disk may be on another machine)."""
    probe = folder / "now"
    probe.touch()
    return probe.stat().st_mtime_ns


def _kept_faces(records: Path) -> list[tuple[str, int, str | None, str]]:
    """Photo, slot, vessel and path of the photo."""
    with closing(sqlite3.connect(records)) as opened:
        query = (
            "SELECT photo, slot, readings.vessel, path FROM readings JOIN photos ON hash = photo"
            " WHERE has_face ORDER BY photo, slot"
        )
        return [(photo, slot, vessel, path) for photo, slot, vessel, path in opened.execute(query)]


def _forget_faces(records: Path) -> None:
    """Say in the records that no faces are kept; readings and their places stay."""
    with closing(sqlite3.connect(records)) as opened:
        opened.execute("UPDATE readings SET has_face = 0")
        opened.commit()


def _mark_touched(records: Path, vessels: set[str | None]) -> tuple[int, int]:
    """Mark the series of these vessels as stale; the number of vessels and photos in the records."""
    with closing(sqlite3.connect(records)) as opened:
        opened.executemany("UPDATE vessels SET series_stale = 1 WHERE id = ?", [(vessel,) for vessel in vessels])
        opened.commit()
        n_vessels, n_photos = opened.execute(
            "SELECT (SELECT count(*) FROM vessels), (SELECT count(*) FROM photos)"
        ).fetchone()
    return n_vessels, n_photos


def _small_parts(farm: Farm) -> Iterator[tuple[str, bytes]]:
    settings = (farm.folder / SETTINGS_FILE).read_bytes().decode()
    # A restored farm has its records in its folder, also where those of the original were on a server.
    yield SETTINGS_PART, RECORDS_SETTING.sub('records = ""', settings, count=1).encode()
    if (farm.folder / CAMERAS_FILE).is_file():
        yield CAMERAS_PART, (farm.folder / CAMERAS_FILE).read_bytes()


def _add(out: zipfile.ZipFile, name: str, content: bytes, how: int = zipfile.ZIP_DEFLATED) -> Part:
    out.writestr(zipfile.ZipInfo(name, _ZIP_EPOCH), content, compress_type=how)
    return Part(name=name, size=len(content), sha256=sha256(content).hexdigest())


def _add_file(out: zipfile.ZipFile, name: str, source: Path) -> Part:
    """Add a file of any size in pieces."""
    info = zipfile.ZipInfo(name, _ZIP_EPOCH)
    info.compress_type = zipfile.ZIP_DEFLATED
    digest, size = sha256(), source.stat().st_size
    info.file_size = size
    with source.open("rb") as content, out.open(info, "w") as into:
        while piece := content.read(_CHUNK):
            digest.update(piece)
            into.write(piece)
    return Part(name=name, size=size, sha256=digest.hexdigest())


def _appear(fresh: Path, target: Path) -> None:
    """Put a whole file under its own name."""
    with fresh.open("rb+") as file:
        os.fsync(file.fileno())
    fresh.replace(target)
