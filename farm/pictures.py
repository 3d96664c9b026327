"""Pictures made from what the farm keeps: a face, the face with its classes drawn, a suspect's crop, class maps."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from farm.batch import MeasuredPhoto
from farm.jobs import run_jobs
from farm.readings import face_file
from farm.records import KeptReading, SuspectMark
from farm.reviews import ReviewItem
from farm.store import Farm, output_folder

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vision import MeasuredVessel, Reading

#: A crop shows the suspect with this much around it on every side, as a share of its larger side, and at least mm.
_CROP_MARGIN = 0.6
_CROP_MARGIN_MM = 15.0
#: A face is shown with this much around the vessel, mm.
_FACE_MARGIN_MM = 5.0


@dataclass(frozen=True)
class FacePictures:
    """A reading's face as JPEG: as it is, and with its classes drawn."""

    face: bytes
    overlay: bytes


def face_pictures(farm: Farm, reading: KeptReading, longest_px: int = 480) -> FacePictures | None:
    """The face of a reading, scaled down to fit longest_px; None where none is kept."""
    import numpy as np

    from vision import draw_overlay

    measured = _measured(reading, face_file(farm, reading.photo_hash, reading.slot))
    if measured is None or measured.face is None:
        return None
    face = measured.face
    # The overlay of a photo, drawn on the face itself: there the face lies where it lies.
    on_itself = replace(measured, reading=_on_face(measured), face=replace(face, to_photo=np.eye(3)))
    overlay = draw_overlay(face.rgb, (on_itself,))
    shown = _around_vessel(face.classes, margin_px=int(_FACE_MARGIN_MM * face.px_per_mm))
    return FacePictures(_jpeg(face.rgb[shown], longest_px), _jpeg(overlay[shown], longest_px))


def save_crop(farm: Farm, item: ReviewItem) -> str | None:
    """Save the part of the face around a suspect as a picture to look at; its path, or None where there is none."""
    if item.reading is None or item.mark is None:
        return None
    picture = _suspect_crop(farm, item.reading, item.mark)
    if picture is None:
        return None
    name = re.sub(r"[^A-Za-z0-9-]+", "_", f"{item.vessel}-{item.subject}")
    target = output_folder(farm.folder / "review") / f"{name}.jpg"
    target.write_bytes(picture)
    return str(target)


def _suspect_crop(farm: Farm, reading: KeptReading, mark: SuspectMark) -> bytes | None:
    measured = _measured(reading, face_file(farm, reading.photo_hash, reading.slot))
    if measured is None or measured.face is None:
        return None
    face = measured.face
    left, top, width, height = _box_on_face(mark.box, face.to_photo)
    margin = int(max(_CROP_MARGIN * max(width, height), _CROP_MARGIN_MM * face.px_per_mm))
    rows = slice(max(0, top - margin), max(1, top + height + margin))
    columns = slice(max(0, left - margin), max(1, left + width + margin))
    part = face.rgb[rows, columns]
    return _jpeg(part, 640) if part.size else None


def write_class_maps(farm: Farm, photos: Sequence[MeasuredPhoto], folder: Path, *, workers: int = 1) -> int:
    """For each picture a PNG of its size with class values, and an overlay JPEG to look at; the number written.

    0 background, 1 bare substrate, 2 mycelium, 3 suspect, 4 label, 5 other vessel parts. A photo's folder below the
    path that was measured is kept below the folder.
    """
    output_folder(folder)
    jobs: dict[Path, _MapJob] = {}
    for photo in photos:
        home = folder / photo.found.folder
        stem = photo.found.path.stem
        target = home / stem if home / stem not in jobs else home / photo.found.path.name
        faces = tuple((one, face_file(farm, one.photo_hash, one.slot)) for one in photo.readings)
        jobs[target] = _MapJob(photo.found.path, target, faces)
    done = run_jobs(partial(_write_maps), list(jobs.values()), workers=workers)
    return sum(written for _, written in done)


def plain_reading(kept: KeptReading) -> "Reading":
    """The reading as vision knows it."""
    from vision import Reading, Suspect

    return Reading(
        vessel=kept.vessel,
        kind=kept.kind,
        status=cast(Literal["ok", "unusable", "unidentified"], kept.status),
        reason=kept.reason,
        percent=kept.percent,
        percent_low=kept.percent_low,
        percent_high=kept.percent_high,
        hidden_percent=kept.hidden_percent,
        mm_per_px=kept.mm_per_px,
        face_box=kept.face_box,
        suspects=tuple(Suspect(mark.colour, mark.area_cm2, mark.box, mark.score) for mark in kept.suspects),
        flags=kept.flags,
    )


@dataclass(frozen=True)
class _MapJob:
    photo: Path
    target: Path
    faces: tuple[tuple[KeptReading, Path], ...]


def _write_maps(job: _MapJob) -> bool:
    from PIL import Image

    from vision import PictureError, draw_overlay, load_picture, paint_classes

    try:
        rgb = load_picture(job.photo).rgb
    except PictureError:
        return False
    measured = tuple(one for reading, face in job.faces if (one := _measured(reading, face)) is not None)
    job.target.parent.mkdir(parents=True, exist_ok=True)
    height, width = rgb.shape[:2]
    Image.fromarray(paint_classes((height, width), measured)).save(f"{job.target}.png")
    Image.fromarray(draw_overlay(rgb, measured)).save(f"{job.target}_overlay.jpg", quality=88)
    return True


def _measured(reading: KeptReading, source: Path) -> "MeasuredVessel | None":
    from vision import MeasuredVessel, decode_face

    if not reading.has_face or not source.is_file():
        return MeasuredVessel(plain_reading(reading)) if reading.photo_hash else None
    return MeasuredVessel(plain_reading(reading), decode_face(source.read_bytes()))


def _around_vessel(classes: "NDArray[np.uint8]", margin_px: int) -> tuple[slice, slice]:
    """Rows and columns of the face frame that hold the vessel; all of them where there is none."""
    import numpy as np

    rows, columns = np.nonzero(classes)
    if rows.size == 0:
        return slice(None), slice(None)
    return (
        slice(max(0, int(rows.min()) - margin_px), int(rows.max()) + 1 + margin_px),
        slice(max(0, int(columns.min()) - margin_px), int(columns.max()) + 1 + margin_px),
    )


def _on_face(measured: "MeasuredVessel") -> "Reading":
    """The reading with its boxes in face pixels."""
    reading, face = measured.reading, measured.face
    if face is None:
        return reading
    height, width = face.classes.shape
    marks = tuple(replace(mark, box=_box_on_face(mark.box, face.to_photo)) for mark in reading.suspects)
    return replace(reading, face_box=(0, 0, width, height), suspects=marks)


def _box_on_face(box: tuple[int, int, int, int], to_photo: "NDArray[np.float64]") -> tuple[int, int, int, int]:
    """A box in photo pixels as the box around it in face pixels (left, top, width, height)."""
    import numpy as np

    left, top, width, height = box
    corners = np.array([[left, top], [left + width, top], [left + width, top + height], [left, top + height]], float)
    there = np.column_stack([corners, np.ones(4)]) @ np.linalg.inv(to_photo).T
    low = (there[:, :2] / there[:, 2:]).min(axis=0)
    high = (there[:, :2] / there[:, 2:]).max(axis=0)
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])


def _jpeg(rgb: "NDArray[np.uint8]", longest_px: int) -> bytes:
    from PIL import Image

    image = Image.fromarray(rgb)
    image.thumbnail((longest_px, longest_px))
    buffer = BytesIO()
    image.save(buffer, "JPEG", quality=82)
    return buffer.getvalue()
