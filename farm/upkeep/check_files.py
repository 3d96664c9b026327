"""Damage in the files beside the records: faces that are missing or cannot be read, photos that are not the same."""

import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from farm.measure import content_hash
from farm.records import face_file
from farm.store import OUTPUT_MARK, Farm
from farm.store.schema import photos, readings
from farm.upkeep.damage import Damage

if TYPE_CHECKING:
    from sqlalchemy import Row

Progress = Callable[[str, int, int], None]

_AFTER = "the readings stay; its series and pictures lack this one"


def check_faces(farm: Farm, on_progress: Progress | None = None) -> Iterator[Damage]:
    """Faces that the records name but that are missing or damaged, and files that no record names."""
    query = (
        select(readings.c.photo, readings.c.slot, readings.c.vessel, photos.c.path)
        .join(photos, photos.c.hash == readings.c.photo)
        .where(readings.c.has_face)
        .order_by(readings.c.photo, readings.c.slot)
    )
    with farm.reading() as connection:
        kept = list(connection.execute(query))
    for n_done, row in enumerate(kept, start=1):
        face = face_file(farm, row.photo, row.slot)
        if fault := _face_fault(face):
            again = f"measure its photo again: `spawnrun measure --again {row.path}`"
            where = face.relative_to(farm.folder).as_posix()
            yield Damage("face", where, f"the face of {row.vessel} {fault}", f"{again}; {_AFTER}")
        if on_progress is not None:
            on_progress("faces", n_done, len(kept))
    yield from _left_over(farm, {face_file(farm, row.photo, row.slot) for row in kept})


def _face_fault(face: Path) -> str:
    from vision.face import decode_face

    try:
        content = face.read_bytes()
    except FileNotFoundError:
        return "is missing"
    except OSError as error:
        return f"cannot be opened: {error.strerror}"
    if fault := content_fault(content):
        return f"is damaged ({fault})"
    try:
        decode_face(content, at_least_px=64)
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        return f"is damaged ({error})"
    return ""


def content_fault(content: bytes) -> str:
    """What is wrong with a kept face's bytes, in a few words, or "".

    Its archive has a checksum of each part, so what passes here is what was written.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return archive.testzip() or ""
    except Exception as error:  # zipfile raises many kinds on damaged files
        return str(error) or type(error).__name__


def _left_over(farm: Farm, kept: set[Path]) -> Iterator[Damage]:
    home = farm.folder / "faces"
    found = [path for path in home.rglob("*") if path.is_file() and path.name != OUTPUT_MARK]
    if strays := sorted(path for path in found if path not in kept):
        size_mb = sum(path.stat().st_size for path in strays) / 1e6
        shown = ", ".join(path.relative_to(farm.folder).as_posix() for path in strays[:3])
        yield Damage(
            "face",
            shown + (" ..." if len(strays) > 3 else ""),
            f"files that no reading needs, as a stop leaves them: {len(strays)}, {size_mb:.1f} MB",
            "nothing; delete them while nothing else runs, if you want the room",
            is_fault=False,
        )


def check_photos(farm: Farm, on_progress: Progress | None = None) -> Iterator[Damage]:
    """Originals that were moved or deleted (reported, no fault), and files with other content than was measured."""
    with farm.reading() as connection:
        kept = list(connection.execute(select(photos.c.hash, photos.c.path).order_by(photos.c.path)))
    known = {row.hash for row in kept}
    missing = []
    for n_done, row in enumerate(kept, start=1):
        fault = _photo_fault(farm, row, known)
        missing += [row.path] if fault is None else []
        if fault:
            yield fault
        if on_progress is not None:
            on_progress("originals", n_done, len(kept))
    if missing:
        shown = ", ".join(missing[:3]) + (" ..." if len(missing) > 3 else "")
        yield Damage(
            "photo",
            shown,
            f"{len(missing)} of {len(kept)} photos are not where they were measured: moved or deleted",
            "nothing: readings and faces are kept; the photos are needed only for `measure --again`",
            is_fault=False,
        )


def _photo_fault(farm: Farm, row: "Row[Any, Any]", known: set[str]) -> Damage | tuple[()] | None:
    """What is wrong with an original; () if nothing is, None if it is not there."""
    path = farm.folder / row.path
    try:
        found = content_hash(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        return Damage("photo", row.path, f"cannot be opened: {error.strerror}", "see who may read it", is_fault=False)
    if found == row.hash:
        return ()
    if found in known:
        later = "was written over by a later photo, which is measured too"
        return Damage("photo", row.path, later, "nothing: the reading of the first is kept", is_fault=False)
    changed = "holds other content than was measured: written over, edited or damaged since"
    return Damage("photo", row.path, changed, "bring the original back; or measure it, and it counts as another photo")
