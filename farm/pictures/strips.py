"""Pictures for many vessels: the newest face, the overlay of its classes, and a strip of the face over days."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from farm.pictures.face_pictures import FacePictures, around_vessel, jpeg_of, pictures_of, spread
from farm.pictures.kept_faces import read_face
from farm.records import face_file
from farm.records.models import KeptReading
from farm.store import Farm
from farm.store.errors import DamagedFaceError
from farm.workers import run_jobs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vision.records import Face

_STRIP_MARGIN_MM = 3.0


@dataclass(frozen=True)
class PictureSizes:
    """Longest sides in pixels of the face and of a frame of its strip; how many frames at most; JPEG quality."""

    face_px: int
    frame_px: int
    frames: int
    quality: int = 82


@dataclass(frozen=True)
class StripFrame:
    """The face in one reading, as JPEG."""

    reading: KeptReading
    jpeg: bytes


@dataclass(frozen=True)
class VesselPictures:
    """Pictures of a vessel; newest is None and the strip empty where no face is kept. shown: the reading of newest."""

    newest: FacePictures | None
    strip: tuple[StripFrame, ...]
    shown: KeptReading | None = None


def vessel_pictures(
    farm: Farm, readings: Mapping[str, Sequence[KeptReading]], sizes: PictureSizes, *, workers: int = 1
) -> dict[str, VesselPictures]:
    """The pictures of each vessel from its readings (oldest first), by id. workers: threads."""
    jobs = [_Job(vessel, _kept(farm, mine, sizes.frames)) for vessel, mine in readings.items()]
    # Threads: nearly all of the work is done outside Python, and a process takes longer to start than 150 vessels.
    with ThreadPoolExecutor(workers) as threads:
        done = run_jobs(partial(_pictures, sizes), jobs, workers=workers, executor=threads if workers > 1 else None)
        return {job.vessel: made for job, made in done}


@dataclass(frozen=True)
class _Job:
    vessel: str
    faces: tuple[tuple[KeptReading, Path], ...]


def _kept(farm: Farm, readings: Sequence[KeptReading], frames: int) -> tuple[tuple[KeptReading, Path], ...]:
    kept = [(one, face_file(farm, one.photo_hash, one.slot)) for one in readings if one.has_face]
    there = [(one, path) for one, path in kept if path.is_file()]
    return tuple(spread(there, frames))


def _pictures(sizes: PictureSizes, job: _Job) -> VesselPictures:
    found = _newest_readable(sizes, job)
    if found is None:
        return VesselPictures(None, ())
    shown, face = found
    window = around_vessel(face.classes, margin_px=int(_STRIP_MARGIN_MM * face.px_per_mm))
    height, width = face.classes.shape
    ends = tuple(
        end / size
        for part, size in zip(window, (height, width), strict=True)
        for end in (part.start or 0, part.stop or size)
    )
    frames = (
        _frame(one, face.rgb if one is shown else _picture(source, ends, sizes), ends, sizes)
        for one, source in job.faces
    )
    is_newest = shown is job.faces[-1][0]  # an older one must not pass for it
    newest = pictures_of(shown, face, sizes.face_px, sizes.quality) if is_newest else None
    return VesselPictures(newest, tuple(filter(None, frames)), shown if is_newest else None)


def _newest_readable(sizes: PictureSizes, job: _Job) -> "tuple[KeptReading, Face] | None":
    for reading, source in reversed(job.faces):
        with suppress(DamagedFaceError):
            if (face := read_face(source, at_least_px=sizes.face_px)) is not None:
                return reading, face
    return None


def _picture(source: Path, ends: Sequence[float], sizes: PictureSizes) -> "NDArray[np.uint8] | None":
    """The picture of a kept face, as small as it may be for a frame; None where it is damaged."""
    from vision.face import decode_face_picture

    share = max(ends[1] - ends[0], ends[3] - ends[2])
    try:
        return decode_face_picture(source.read_bytes(), round(sizes.frame_px / max(share, 0.1)))
    except (ValueError, OSError):
        return None


def _frame(
    reading: KeptReading, rgb: "NDArray[np.uint8] | None", ends: Sequence[float], sizes: PictureSizes
) -> StripFrame | None:
    """The same window of the face frame each day; ends: its top, bottom, left and right as shares of the frame."""
    if rgb is None:
        return None
    top, bottom, left, right = (
        round(end * size) for end, size in zip(ends, (rgb.shape[0],) * 2 + (rgb.shape[1],) * 2, strict=True)
    )
    cut = rgb[top:bottom, left:right]
    return StripFrame(reading, jpeg_of(cut, sizes.frame_px, sizes.quality)) if cut.size else None
