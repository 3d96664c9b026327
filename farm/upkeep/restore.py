"""Restores a farm from a backup, in a folder that has none."""

import os
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from farm.records import CAMERAS_FILE
from farm.store import RECORDS_FILE, SETTINGS_FILE, Farm, open_farm, output_folder, plain_faults, version_in
from farm.store.errors import BackupError, FarmExistsError, NewerFarmError
from farm.store.schema import SCHEMA_VERSION
from farm.upkeep.archive import RECORDS_PART, SETTINGS_PART, Manifest, check_archive

_PARTS = (SETTINGS_FILE, RECORDS_FILE, f"{RECORDS_FILE}-wal", CAMERAS_FILE, "faces")


def restore_farm(source: Path, folder: Path, *, on_part: Callable[[int, int], None] | None = None) -> Farm:
    """Make the farm of a backup in the folder, and open it; the whole backup is checked before anything is written.

    Raises FarmExistsError where a farm, or a part of one, stands in the folder; BackupError for a damaged backup, which
    names what is wrong, or too little room; NewerFarmError for one of a newer version.
    """
    if found := [name for name in _PARTS if (folder / name).exists()]:
        raise FarmExistsError(f"{folder} has a farm, or a part of one ({', '.join(found)}): name another folder")
    manifest = check_archive(source)
    is_new = not folder.exists()
    half_done = folder / f".restore-{os.getpid()}"
    try:
        half_done.mkdir(parents=True)
        _check_room(folder, manifest)
        _unpack(source, manifest, half_done, on_part)
        with plain_faults(half_done / RECORDS_PART):
            _check_records(source, half_done / RECORDS_PART)
        _move(half_done, folder)
    except OSError as error:
        raise BackupError(f"{folder}: nothing was restored: {error.strerror or error}") from None
    finally:
        shutil.rmtree(half_done, ignore_errors=True)
        if is_new and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    return open_farm(folder)


def _check_room(folder: Path, manifest: Manifest) -> None:
    needed = sum(part.size for part in manifest.parts)
    if shutil.disk_usage(folder).free < needed:
        raise BackupError(f"{folder}: too little room on the disk, {needed / 1e6:.0f} MB are needed")


def _unpack(source: Path, manifest: Manifest, folder: Path, on_part: Callable[[int, int], None] | None) -> None:
    with zipfile.ZipFile(source) as archive:
        for n_done, part in enumerate(manifest.parts, start=1):
            target = folder / part.name  # one of the names that check_archive lets pass
            target.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(part.name) as content, target.open("xb") as into:
                shutil.copyfileobj(content, into)
            if on_part is not None:
                on_part(n_done, len(manifest.parts))


def _check_records(source: Path, records: Path) -> None:
    """Raises BackupError or NewerFarmError; the manifest's word on the records is not trusted."""
    try:
        with closing(sqlite3.connect(records)) as opened:
            (integrity,) = opened.execute("PRAGMA integrity_check").fetchone()
        found = version_in(records)
    except sqlite3.Error as error:
        raise BackupError(f"{source}: its records are no database ({error}); nothing was restored") from None
    if integrity != "ok":
        raise BackupError(f"{source}: its records were damaged when it was made ({integrity}); nothing was restored")
    if found > SCHEMA_VERSION:
        raise NewerFarmError(f"{source}: records of version {found}, this program knows {SCHEMA_VERSION}: update it")


def _move(half_done: Path, folder: Path) -> None:
    """Put the parts in place, the records last, so that a stop leaves no half-made farm."""
    if (half_done / "faces").is_dir():
        output_folder(half_done / "faces")
    for name in (*sorted(path.name for path in half_done.iterdir() if path.name not in (RECORDS_PART, SETTINGS_PART)),
                 SETTINGS_PART, RECORDS_PART):  # fmt: skip
        (half_done / name).rename(folder / name)
