"""Kept faces for an invented farm whose records were written without photos, so that its report has pictures."""

import os
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import select, update

from benchmarks.scale.shelves import write_days
from farm.records import face_file
from farm.store import Farm
from farm.store.schema import readings
from vision.face import encode_face
from vision.photo import measure_photo
from vision.pixels import load_picture
from vision.records import PhotoContext, VesselSpec

#: Drawn faces, of different days; all readings share them.
_DAYS = 8


def keep_faces(farm: Farm) -> float:
    """Give every reading of a farm one of a few drawn faces; the mean size of one, MB."""
    contents = _drawn_faces()
    kept = farm.folder / "drawn-faces"
    kept.mkdir()
    for number, content in enumerate(contents):
        (kept / str(number)).write_bytes(content)
    with farm.writing() as connection:
        rows = connection.execute(select(readings.c.photo, readings.c.slot, readings.c.percent)).all()
        connection.execute(update(readings).values(has_face=True))
    for photo, slot, percent in rows:
        target = face_file(farm, photo, slot)
        target.parent.mkdir(parents=True, exist_ok=True)
        os.link(kept / str(min(_DAYS - 1, int(percent / 100 * _DAYS))), target)
    return sum(map(len, contents)) / len(contents) / 1e6


def _drawn_faces() -> list[bytes]:
    with TemporaryDirectory() as folder:
        photos = write_days(Path(folder), _DAYS)
        names = [line.split(",")[0] for line in (Path(folder) / "vessels.csv").read_text().splitlines()[1:]]
        context = PhotoContext({name: VesselSpec(name, "bag", "oyster", "sawdust") for name in names})
        first = [measure_photo(load_picture(photo).rgb, context)[0].face for photo in photos]
    return [encode_face(face) for face in first if face is not None]
