"""Restores a farm from a backup, in a folder that has none."""

import shutil
import sqlite3
import tomllib
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy.exc import SQLAlchemyError

from farm.records import CAMERAS_FILE, list_events, list_readings, list_verdicts, list_vessels
from farm.store import (
    RECORDS_FILE,
    SETTINGS_FILE,
    Farm,
    open_farm,
    output_folder,
    plain_faults,
    version_in,
    work_mark,
)
from farm.store.errors import BackupError, FarmExistsError, FarmShutError, NewerFarmError, SettingsError
from farm.store.schema import SCHEMA_VERSION
from farm.upkeep.archive import RECORDS_PART, RECORDS_SETTING, SETTINGS_PART, Manifest, check_archive
from farm.upkeep.check_values import check_values

_PARTS = (SETTINGS_FILE, RECORDS_FILE, f"{RECORDS_FILE}-wal", CAMERAS_FILE, "faces")
#: Stands in the folder while a backup is being restored. Where it is found, that was cut short.
_MARK = ".spawnrun-restoring"
_HALF_DONE = ".restore-"


def restore_farm(source: Path, folder: Path, *, on_part: Callable[[int, int], None] | None = None) -> Farm:
    """Make the farm of a backup in the folder, and open it; the whole backup is checked before anything is written.

    Its records are kept in the folder: a server that its settings name is not asked. What a restore left that was cut
    short is taken away. Raises FarmExistsError where a farm, or a part of one, stands in the folder; BackupError for a
    damaged backup, which names what is wrong; FarmShutError for a disk that is full or cannot be written;
    NewerFarmError for a backup of a newer version.
    """
    is_cut_short = (folder / _MARK).exists()
    if not is_cut_short:
        _check_empty(folder)
    manifest = check_archive(source)
    is_new = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with work_mark(folder / _MARK):
            if is_cut_short:
                _clear_leftovers(folder)
            _check_empty(folder)
            _restore(source, folder, manifest, on_part)
    except BlockingIOError:
        raise BackupError(f"{folder}: another process is restoring a backup there") from None
    except OSError as error:
        raise FarmShutError(f"{folder}: nothing was restored: {error.strerror or error}") from None
    finally:
        if is_new and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    try:
        return open_farm(folder)
    except SettingsError as error:
        raise BackupError(f"restored, but its settings must be corrected before it can be used: {error}") from None


def _restore(source: Path, folder: Path, manifest: Manifest, on_part: Callable[[int, int], None] | None) -> None:
    _check_room(folder, manifest)
    with TemporaryDirectory(prefix=_HALF_DONE, dir=folder, ignore_cleanup_errors=True) as home:
        half_done = Path(home)
        _unpack(source, manifest, half_done, on_part)
        _keep_records_here(source, half_done / SETTINGS_PART)
        with plain_faults(half_done / RECORDS_PART):
            _check_records(source, half_done / RECORDS_PART)
        _check_readable(source, half_done)
        _move(half_done, folder)


def _check_empty(folder: Path) -> None:
    if found := [name for name in _PARTS if (folder / name).exists()]:
        raise FarmExistsError(f"{folder} has a farm, or a part of one ({', '.join(found)}): name another folder")


def _clear_leftovers(folder: Path) -> None:
    """Take away what a restore left that was cut short: its mark says that no part was there before it.

    The records are put in place last: where they are, the farm is whole.
    """
    if not (folder / RECORDS_FILE).exists():
        for name in _PARTS:
            _remove(folder / name)
    for left in folder.glob(f"{_HALF_DONE}*"):
        _remove(left)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _check_room(folder: Path, manifest: Manifest) -> None:
    needed = sum(part.size for part in manifest.parts)
    if shutil.disk_usage(folder).free < needed:
        raise FarmShutError(f"{folder}: too little room on the disk, {needed / 1e6:.0f} MB are needed")


def _unpack(source: Path, manifest: Manifest, folder: Path, on_part: Callable[[int, int], None] | None) -> None:
    with zipfile.ZipFile(source) as archive:
        for n_done, part in enumerate(manifest.parts, start=1):
            target = folder / part.name  # one of the names that check_archive lets pass
            target.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(part.name) as content, target.open("xb") as into:
                shutil.copyfileobj(content, into)
            if on_part is not None:
                on_part(n_done, len(manifest.parts))


def _keep_records_here(source: Path, settings: Path) -> None:
    """Let the restored settings name no server: a backup brings its records, and a password must not go anywhere.

    Raises BackupError for settings that are no TOML, or that name one in an unusual way.
    """
    try:
        text = RECORDS_SETTING.sub('records = ""', settings.read_bytes().decode(), count=1)
        if tomllib.loads(text).get("records"):
            raise BackupError(
                f"{source}: its {SETTINGS_FILE} keeps the records on a server, in a way that no backup is written; "
                "nothing was restored"
            )
    except (ValueError, RecursionError) as error:  # no UTF-8, no TOML, a number of too many digits, nested too deeply
        raise BackupError(f"{source}: its {SETTINGS_FILE} cannot be read ({error}); nothing was restored") from None
    settings.write_bytes(text.encode())


def _check_records(source: Path, records: Path) -> None:
    """Raises BackupError or NewerFarmError; the manifest's word on the records is not trusted."""
    try:
        with closing(sqlite3.connect(records)) as opened:
            (integrity,) = opened.execute("PRAGMA integrity_check").fetchone()
        found = version_in(records)
    except (sqlite3.Error, ValueError) as error:
        raise BackupError(f"{source}: its records are no database ({error}); nothing was restored") from None
    if integrity != "ok":
        raise BackupError(f"{source}: its records were damaged when it was made ({integrity}); nothing was restored")
    if found > SCHEMA_VERSION:
        raise NewerFarmError(f"{source}: records of version {found}, this program knows {SCHEMA_VERSION}: update it")


def _check_readable(source: Path, half_done: Path) -> None:
    """Raises BackupError where the records cannot be brought up to date or read, as in an archive made by hand."""
    try:
        with open_farm(half_done) as farm:
            list_vessels(farm)
            list_events(farm)
            list_verdicts(farm)
            list_readings(farm)
            with farm.reading() as connection:
                check_values(connection)
    except SettingsError:
        return  # told at the end: the records are there, and a person can correct the file
    except (SQLAlchemyError, ValueError, TypeError, KeyError, LookupError) as error:
        said = str(error).splitlines()[0]
        raise BackupError(
            f"{source}: its records cannot be understood ({type(error).__name__}: {said}); nothing was restored"
        ) from None


def _move(half_done: Path, folder: Path) -> None:
    """Put the parts in place, the records last, so that a stop leaves no half-made farm."""
    if (half_done / "faces").is_dir():
        output_folder(half_done / "faces")
    others = sorted(path.name for path in half_done.iterdir() if path.name not in (RECORDS_PART, SETTINGS_PART))
    for name in (*others, SETTINGS_PART, RECORDS_PART):
        (half_done / name).rename(folder / name)
