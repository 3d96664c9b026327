"""The part of vision that a run uses, loaded only when there is a photo to measure."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from calibration import CameraProfile, vessel_and_side
from farm.records.models import FaceFrame, KeptFace

if TYPE_CHECKING:
    from vision.days import SeriesFace
    from vision.pixels import Picture
    from vision.records import Box, Face, MeasuredVessel, PhotoContext, Reading, VesselSpec


@dataclass(frozen=True)
class Vision:
    """Functions of vision as values: tests replace them, and workers receive them."""

    load_picture: "Callable[[bytes], Picture]"
    measure_photo: "Callable[..., tuple[MeasuredVessel, ...]]"
    continue_series: (
        "Callable[[bytes | None, Sequence[SeriesFace], VesselSpec, Sequence[Face]],"
        " tuple[tuple[MeasuredVessel, ...], bytes]]"
    )
    encode_face: "Callable[..., bytes]"
    decode_face: "Callable[[bytes], Face]"


def load_vision() -> Vision:
    """The functions of the installed vision package."""
    from vision.days import continue_series
    from vision.face import decode_face, encode_face
    from vision.photo import measure_photo
    from vision.pixels import load_picture

    return Vision(
        load_picture=load_picture,
        measure_photo=measure_photo,
        continue_series=continue_series,
        encode_face=encode_face,
        decode_face=decode_face,
    )


@dataclass(frozen=True)
class PhotoResult:
    """A worker's result for one photo: readings, and for each its face or None; a refused one has it to be looked at.

    size_px: height and width, None where the file is no picture. fault: the program itself failed; to be tried again.
    """

    size_px: tuple[int, int] | None
    camera_time: datetime | None
    readings: "tuple[Reading, ...]"
    faces: tuple[KeptFace | None, ...]
    fault: bool = False


def measure_one(
    vision: Vision, content: bytes, context: "PhotoContext", profiles: Mapping[str, CameraProfile] | None = None
) -> PhotoResult:
    """Measure one photo, the content of its file; a fault in it becomes a reading with a reason, never an exception.

    profiles: of the cameras that the farm has calibrated, by make and model.
    """
    from vision.pixels import PictureError

    try:
        picture = vision.load_picture(content)
    except PictureError as error:
        return unread_result(str(error), context)
    height, width = picture.rgb.shape[:2]
    try:
        profile = (profiles or {}).get(picture.camera)
        regions = {name: _reduced(box, picture.reduced) for name, box in context.regions.items()}
        measured = vision.measure_photo(picture.rgb, replace(context, profile=profile, regions=regions))
    except Exception as error:
        return failed_result(
            f"this program failed on it ({type(error).__name__}: {error}); please report it with the photo"
        )
    shown = (one.face or one.refused_face for one in measured)
    faces = tuple(None if face is None else _kept(vision, face) for face in shown)
    read = tuple(replace(one.reading, flags=(*one.reading.flags, *picture.flags)) for one in measured)
    return PhotoResult((height, width), picture.taken_at, read, faces)


def unread_result(reason: str, context: "PhotoContext") -> PhotoResult:
    """The result of a file that is no picture that can be read; kept, for the vessel that the file names."""
    from vision.records import Reading

    named, side = vessel_and_side(context.owner or "", context.vessels)
    owner = context.vessels.get(named)
    kind = None if owner is None else owner.kind
    unread = Reading(named or None, kind, "unusable", reason=reason, side=side)
    return PhotoResult(None, None, (unread,), (None,))


def failed_result(reason: str) -> PhotoResult:
    """The result of a photo that the program failed on: reported, not kept, and tried again next time."""
    from vision.records import Reading

    return PhotoResult(None, None, (Reading(None, None, "unusable", reason=reason),), (None,), fault=True)


def _reduced(box: "Box", by: int) -> "Box":
    """A region of the file's pixels in those of a picture that was read at a part of its size."""
    left, top, width, height = box
    return left // by, top // by, max(1, width // by), max(1, height // by)


def _kept(vision: Vision, face: "Face") -> KeptFace:
    to_photo = tuple(tuple(float(number) for number in row) for row in face.to_photo)
    return KeptFace(vision.encode_face(face), FaceFrame(to_photo, float(face.px_per_mm)))
