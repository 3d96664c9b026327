"""Pictures made from what the farm keeps: a face, the face with its classes drawn, class maps."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar, cast

from farm.measure import MeasuredPhoto, find_photos
from farm.pictures.kept_faces import read_face
from farm.records import face_box_of, face_file
from farm.records.models import KeptReading
from farm.store import OUTPUT_MARK, Farm, output_file, output_folder
from farm.store.errors import DamagedFaceError, NothingToMeasureError, OutputFolderError
from farm.workers import run_jobs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vision.records import Face, MeasuredVessel, Reading

Item = TypeVar("Item")

#: A face is shown with this much around the vessel, mm.
_FACE_MARGIN_MM = 5.0
#: Longest side of the small picture, pixels.
_SMALL_PX = 96


@dataclass(frozen=True)
class FacePictures:
    """A reading's face as JPEG: as it is, with its classes drawn, and as it is but small."""

    face: bytes
    overlay: bytes
    small: bytes = b""


def pictures_of(reading: KeptReading, face: "Face", longest_px: int, quality: int = 82) -> FacePictures:
    """The face of a reading, scaled down to fit longest_px."""
    import numpy as np

    from vision.photo import draw_overlay
    from vision.records import MeasuredVessel

    measured = MeasuredVessel(plain_reading(reading), face)
    # The overlay of a photo, drawn on the face itself: the mapping to the photo is the identity.
    on_itself = replace(measured, reading=_on_face(measured), face=replace(face, to_photo=np.eye(3)))
    overlay = draw_overlay(face.rgb, (on_itself,))
    shown = around_vessel(face.classes, margin_px=int(_FACE_MARGIN_MM * face.px_per_mm))
    plain = scaled_down(face.rgb[shown], longest_px)
    return FacePictures(
        face=jpeg_of(plain, longest_px, quality),
        overlay=jpeg_of(overlay[shown], longest_px, quality),
        small=jpeg_of(plain, _SMALL_PX, quality),
    )


def check_class_map_folder(folder: Path) -> None:
    """Raises OutputFolderError if there are photos in the folder: marked as ours, they would not be measured again.

    Raises OutputPathError if the folder that it would be made in is missing.
    """
    from vision.pixels import PICTURE_SUFFIXES

    output_file(folder)
    if (folder / OUTPUT_MARK).exists() or not folder.is_dir():
        return
    try:
        first, *_ = find_photos([folder], PICTURE_SUFFIXES)
    except NothingToMeasureError:
        return
    raise OutputFolderError(f"{folder} holds other pictures ({first.path}): name another folder for the class maps")


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
    from vision.records import Reading, Suspect

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

    from vision.photo import draw_overlay, paint_classes
    from vision.pixels import PictureError, load_picture

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
    from vision.records import MeasuredVessel

    if not reading.has_face or not source.is_file():
        return MeasuredVessel(plain_reading(reading)) if reading.photo_hash else None
    try:
        return MeasuredVessel(plain_reading(reading), read_face(source))
    except DamagedFaceError:
        return MeasuredVessel(plain_reading(reading))


def around_vessel(classes: "NDArray[np.uint8]", margin_px: int) -> tuple[slice, slice]:
    """Rows and columns of the face frame that hold the vessel; all of them where there is none."""
    from vision.pixels import box_of

    return box_of(classes > 0, margin_px) if classes.any() else (slice(None), slice(None))


def _on_face(measured: "MeasuredVessel") -> "Reading":
    """The reading with its boxes in face pixels."""
    reading, face = measured.reading, measured.face
    if face is None:
        return reading
    height, width = face.classes.shape
    marks = tuple(replace(mark, box=_whole(face_box_of(mark.box, face.to_photo))) for mark in reading.suspects)
    return replace(reading, face_box=(0, 0, width, height), suspects=marks)


def _whole(box: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
    return int(box[0]), int(box[1]), int(box[2]), int(box[3])


def spread(found: Sequence[Item], most: int) -> list[Item]:
    """At most so many, evenly over them, first and last among them."""
    if len(found) <= most:
        return list(found)
    step = (len(found) - 1) / max(most - 1, 1)
    return [found[round(step * n)] for n in range(most)]


def jpeg_of(rgb: "NDArray[np.uint8]", longest_px: int, quality: int = 82) -> bytes:
    """A picture (rows, columns, 3) as JPEG, scaled down to fit longest_px."""
    import numpy as np
    import simplejpeg

    fitting = np.ascontiguousarray(scaled_down(rgb, longest_px))
    return bytes(simplejpeg.encode_jpeg(fitting, quality, colorspace="RGB", colorsubsampling="420"))


def scaled_down(rgb: "NDArray[np.uint8]", longest_px: int) -> "NDArray[np.uint8]":
    """A picture (rows, columns, 3) scaled down to fit longest_px; as it is where it fits."""
    import cv2
    import numpy as np

    height, width = rgb.shape[:2]
    by = longest_px / max(height, width)
    if by >= 1:
        return rgb
    size = max(1, round(width * by)), max(1, round(height * by))
    # Down to half the size, weighted means of the two nearest pixels leave none out, in a sixth of the time of areas.
    how = cv2.INTER_LINEAR if by >= 0.5 else cv2.INTER_AREA
    return np.asarray(cv2.resize(rgb, size, interpolation=how), np.uint8)
