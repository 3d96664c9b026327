"""One picture that is in the records twice, under two hashes, as when it was hashed while it was being copied.

Two photos of one path or one moment whose kept faces are the same, byte for byte, are one picture.
"""

import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import delete, select

from farm.measure import content_hash
from farm.records import face_file
from farm.store import Farm, mark_stale
from farm.store.schema import photos, readings, reviews
from farm.upkeep.damage import Damage

_PICTURE = "picture.jpg"


@dataclass(frozen=True)
class Double:
    """A picture that is kept twice. kept, extra: hashes of its photos; path: of the one to be taken out."""

    kept: str
    extra: str
    path: str
    vessels: tuple[str, ...]


@dataclass(frozen=True)
class _Photo:
    hash: str
    path: str
    taken_at: datetime
    measured_at: datetime
    faces: tuple[tuple[str, int, int], ...]
    keys: tuple[str, ...]


def find_doubles(farm: Farm) -> list[Double]:
    """The pictures that are kept twice; kept stays the one that is judged, or whose file is still there as measured."""
    by_faces: dict[object, list[_Photo]] = {}
    for photo in _photos(farm):
        by_faces.setdefault(photo.faces, []).append(photo)
    judged = _judged(farm)
    found = []
    for alike in by_faces.values():
        for same in _of_one_picture(alike):
            first, *others = sorted(same, key=lambda one: (-_worth(farm, one, judged), one.measured_at, one.hash))
            vessels = tuple(dict.fromkeys(vessel for vessel, *_ in first.faces))
            found += [Double(first.hash, one.hash, one.path, vessels) for one in others]
    return sorted(found, key=lambda one: (one.path, one.extra))


def check_doubles(farm: Farm) -> Iterator[Damage]:
    """Each picture that is kept twice, as damage."""
    for double in find_doubles(farm):
        yield Damage(
            "photo",
            double.path,
            f"the same picture of {', '.join(double.vessels)} is kept twice, as if measured while being copied",
            "`spawnrun check --mend` takes the second out of the records",
        )


def mend_doubles(farm: Farm) -> list[Double]:
    """Take each picture that is kept twice out once, with its readings and faces; its vessels are read again."""
    doubles = find_doubles(farm)
    faces: list[Path] = []
    with farm.writing() as connection:
        for double in doubles:
            slots = list(connection.scalars(select(readings.c.slot).where(readings.c.photo == double.extra)))
            connection.execute(delete(photos).where(photos.c.hash == double.extra))
            mark_stale(connection, double.vessels, anew=True)
            faces += [face_file(farm, double.extra, slot) for slot in slots]
    for face in faces:  # only now that no record names them, whatever happens
        face.unlink(missing_ok=True)
    return doubles


def _photos(farm: Farm) -> list[_Photo]:
    """The photos with a kept face: for each face its vessel, and size and checksum of its picture."""
    query = (
        select(
            photos.c.hash, photos.c.path, photos.c.taken_at, photos.c.measured_at, readings.c.slot, readings.c.vessel
        )
        .join(readings, readings.c.photo == photos.c.hash)
        .where(readings.c.has_face, readings.c.vessel.is_not(None))
        .order_by(photos.c.hash, readings.c.slot)
    )
    found: dict[str, _Photo] = {}
    with farm.reading() as connection:
        rows = list(connection.execute(query))
    for row in rows:
        if (picture := _picture_of(face_file(farm, row.hash, row.slot))) is None:
            continue
        known = found.get(row.hash)
        faces = (*(known.faces if known else ()), (row.vessel, *picture))
        keys = (*(known.keys if known else ()), f"{row.hash}-{row.slot}")
        found[row.hash] = _Photo(row.hash, row.path, row.taken_at, row.measured_at, faces, keys)
    return list(found.values())


def _picture_of(face: Path) -> tuple[int, int] | None:
    try:
        with zipfile.ZipFile(face) as archive:
            info = archive.getinfo(_PICTURE)
    except Exception:  # missing or damaged: another check names it
        return None
    return info.file_size, info.CRC


def _of_one_picture(alike: list[_Photo]) -> Iterator[list[_Photo]]:
    """Of photos with the same faces those of one path or one moment."""
    left = list(alike)
    while left:
        first = left.pop(0)
        same = [first, *(one for one in left if one.path == first.path or one.taken_at == first.taken_at)]
        left = [one for one in left if one not in same]
        if len(same) > 1:
            yield same


def _judged(farm: Farm) -> set[str]:
    with farm.reading() as connection:
        return set(connection.scalars(select(reviews.c.reading).where(reviews.c.reading.is_not(None))))


def _worth(farm: Farm, photo: _Photo, judged: set[str]) -> int:
    """2 where a person judged it, 1 where its file is there as it was measured."""
    try:
        is_there = content_hash(farm.folder / photo.path) == photo.hash
    except OSError:
        is_there = False
    return 2 * any(key in judged for key in photo.keys) + is_there
