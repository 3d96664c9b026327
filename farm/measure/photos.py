"""Photos before they are measured: which files, of which vessel, taken when."""

import errno
import os
import re
import stat
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from hashlib import file_digest
from pathlib import Path

from farm.records.models import TakenFrom
from farm.store import OUTPUT_MARK, now, sane_moment, to_instant
from farm.store.errors import NothingToMeasureError

#: Year, month, day and maybe hour, minute, second, however they are separated.
_DATE_IN_NAME = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?([01]\d)[-_.]?([0-3]\d)"
    r"(?:[-_.T ]{0,3}([0-2]\d)[-_.:h]?([0-5]\d)(?:[-_.:m]?([0-5]\d))?)?(?!\d)"
)
_NOON = 12


@dataclass(frozen=True)
class FoundPhoto:
    """A file to measure. folder: its folder below the path that was asked for, "" at the top.

    names: those that may begin with a vessel's id, nearest first: the file's, then its folders'.
    """

    path: Path
    folder: str
    names: tuple[str, ...]


def find_photos(paths: Sequence[Path], suffixes: Collection[str]) -> list[FoundPhoto]:
    """Files as they are; folders searched downwards for pictures by their ending, in order of name.

    Folders that this program wrote are passed over, so are hidden files. Raises NothingToMeasureError for a path
    that is not there, or if there is no picture at all.
    """
    found: list[FoundPhoto] = []
    for path in paths:
        if path.is_dir():
            found += _in_folder(path, suffixes)
        elif path.exists():
            found.append(FoundPhoto(path, "", (path.stem, path.absolute().parent.name)))
        else:
            raise NothingToMeasureError(f"{path}: no such file or folder")
    if not found:
        endings = " ".join(sorted(suffixes))
        raise NothingToMeasureError(f"no picture in {', '.join(map(str, paths))} (looked for {endings})")
    return list({photo.path: photo for photo in found}.values())


def is_picture(path: Path, suffixes: Collection[str]) -> bool:
    """Whether a file may be a photo by its ending; one without an ending may."""
    return path.suffix.lower() in (*suffixes, "")


def ids_in_names(ids: Iterable[str]) -> dict[str, str]:
    """The ids by how they are written in a file's name: `/` and `:` as `-`."""
    written: dict[str, str] = {}
    for vessel in ids:
        written.setdefault(vessel.replace("/", "-").replace(":", "-"), vessel)
    return written


def owner_of(names: Sequence[str], ids: Mapping[str, str]) -> str | None:
    """The vessel whose id begins one of the names (nearest name first, longest id first), or None.

    After the id must come the end or something that is no letter or digit, so that B1 is not taken for B12.
    ids: from ``ids_in_names``.
    """
    longest = max(map(len, ids), default=0)
    for name in names:
        upper = name.upper()
        for at in range(min(longest, len(upper)), 0, -1):
            if upper[:at] in ids and _ends(upper, at):
                return ids[upper[:at]]
    return None


def taken_when(path: Path, from_camera: datetime | None, zone: tzinfo | None) -> tuple[datetime, TakenFrom]:
    """The moment a photo was taken, and where that is known from: camera, else file name, else file time.

    A camera time with an impossible year is ignored. A file time that no calendar holds is replaced by now.
    """
    if from_camera is not None and _is_sane(from_camera):
        return to_instant(from_camera, zone), "camera"
    if (named := date_in_name(path.stem)) is not None:
        return to_instant(named, zone), "file name"
    try:
        return sane_moment(datetime.fromtimestamp(int(path.stat().st_mtime), UTC)), "file time"
    except (ValueError, OverflowError):
        return now(), "file time"


def date_in_name(name: str) -> datetime | None:
    """The date in a file name such as 20260302_1300 or IMG_2026-03-02; noon where it has no time; None if none."""
    for match in _DATE_IN_NAME.finditer(name):
        year, month, day = (int(text) for text in match.groups()[:3])
        hour, minute, second = (int(text) if text else None for text in match.groups()[3:])
        try:
            return datetime(year, month, day, _NOON if hour is None else hour, minute or 0, second or 0)  # noqa: DTZ001
        except ValueError:
            continue
    return None


def content_hash(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal. Raises OSError, also for what is no file (a pipe has no end)."""
    kind = path.stat().st_mode
    if stat.S_ISDIR(kind):
        os.scandir(path).close()  # says why, if it may not be looked into
    if not stat.S_ISREG(kind):
        raise OSError(errno.EINVAL, "not a file", str(path))
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _in_folder(top: Path, suffixes: Collection[str]) -> Iterator[FoundPhoto]:
    shut: list[Path] = []
    for here, folders, files in os.walk(top, onerror=lambda error: shut.append(Path(error.filename))):
        if OUTPUT_MARK in files:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        below = Path(here).relative_to(top)
        names = (*reversed(below.parts), top.absolute().name)
        for name in sorted(files):
            if not name.startswith(".") and Path(name).suffix.lower() in suffixes:
                yield FoundPhoto(
                    Path(here) / name, "" if below == Path() else below.as_posix(), (Path(name).stem, *names)
                )
    # Reported like a photo: what lies in such a folder is not measured.
    for folder in shut:
        yield FoundPhoto(folder, "", ())


def _is_sane(moment: datetime) -> bool:
    try:
        sane_moment(moment)
    except ValueError:
        return False
    return True


def _ends(name: str, at: int) -> bool:
    return at == len(name) or not name[at].isalnum()
