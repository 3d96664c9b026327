"""Pictures of a suspect: the spot on several days at one scale, and the whole face with the spot ringed."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from farm.pictures.face_pictures import around_vessel, jpeg_of, spread
from farm.pictures.kept_faces import read_face
from farm.records import Box, box_on_face, face_file, place_of
from farm.records.models import FaceFrame, KeptReading, Place
from farm.review import ReviewItem
from farm.store import Farm, output_folder, replace_file
from farm.store.errors import DamagedFaceError

if TYPE_CHECKING:
    from PIL import ImageDraw

#: A crop shows the suspect with this much around it on every side, mm.
_CROP_MARGIN_MM = 15.0
#: A crop is enlarged to about this many pixels, so that a small spot can be judged.
_CROP_PX = 360
#: At most so many days are shown beside each other.
_MOST_VIEWS = 6
#: The ring lies outside the patch by this share of its size, and at least so many pixels.
_RING_SHARE, _RING_PX = 0.12, 8
#: A whole face is shown with this much around the vessel, mm.
_FACE_MARGIN_MM = 8.0


@dataclass(frozen=True)
class SpotView:
    """The spot of a suspect in one reading. window, box: what a crop shows, and the spot, in face pixels.

    area_cm2: of the suspect there; None where it was not seen.
    """

    reading: KeptReading
    window: Box
    box: Box
    area_cm2: float | None


def spot_views(farm: Farm, item: ReviewItem, readings: Sequence[KeptReading]) -> list[SpotView]:
    """A suspect's spot on the day before it was first seen, and from then to the newest photo, oldest first.

    readings: the vessel's, ``VesselReadings.looked_at``. All windows have one size in mm. Readings without a kept face
    are left out.
    """
    sightings = () if item.history is None else item.history.sightings
    place = next((one.place for one in reversed(sightings) if one.place is not None), None)
    if item.history is None or place is None:
        return []
    window = _with_margin(place)
    areas = {one.reading: one.area_cm2 for one in sightings}
    first = item.history.first.reading.taken_at
    shown_side = [one for one in readings if one.has_face and one.side == place.side]
    before = [one for one in shown_side if one.taken_at < first][-1:]
    after = [one for one in shown_side if one.taken_at >= first]
    views = []
    for reading in spread([*before, *after], _MOST_VIEWS):
        framed = _with_frame(farm, reading)
        shown, box = box_on_face(framed, window), box_on_face(framed, place)
        if shown is not None and box is not None:
            views.append(SpotView(framed, shown, box, areas.get(reading.key)))
    return views


def lacks_picture(item: ReviewItem) -> bool:
    """Whether the photo that shows a suspect bears no percent and was measured before a face was kept of such."""
    reading = item.reading if item.suspect is not None else None
    return reading is not None and reading.status != "ok" and not reading.has_face


def crop_jpeg(farm: Farm, photo_hash: str, slot: int, window: Box) -> bytes | None:
    """The part of a kept face in a window of face pixels, enlarged; grey outside the face. None if no face is kept.

    Raises DamagedFaceError.
    """
    import numpy as np
    from PIL import Image

    left, top, width, height = window
    if not (0 < width <= 4000 and 0 < height <= 4000):
        return None
    face = read_face(face_file(farm, photo_hash, slot))
    if face is None:
        return None
    rgb = face.rgb
    canvas = np.full((height, width, 3), 128, np.uint8)
    rows, columns = _overlap(top, height, rgb.shape[0]), _overlap(left, width, rgb.shape[1])
    canvas[rows[1], columns[1]] = rgb[rows[0], columns[0]]
    scale = max(1.0, _CROP_PX / max(width, height))
    size = (round(width * scale), round(height * scale))
    return jpeg_of(np.asarray(Image.fromarray(canvas).resize(size, Image.Resampling.BICUBIC)), 640)


def ringed_jpeg(farm: Farm, photo_hash: str, slot: int, box: Box, longest_px: int = 900) -> bytes | None:
    """A whole kept face with a ring around a box of face pixels (none for an empty box); None if no face is kept.

    The ring is white between two black lines, so that it shows on any ground and to any eye. Raises DamagedFaceError.
    """
    import numpy as np
    from PIL import Image, ImageDraw

    face = read_face(face_file(farm, photo_hash, slot))
    if face is None:
        return None
    picture = Image.fromarray(face.rgb)
    if box[2] > 0 and box[3] > 0:
        _ring(ImageDraw.Draw(picture), box)
    shown = around_vessel(face.classes, margin_px=round(_FACE_MARGIN_MM * face.px_per_mm))
    return jpeg_of(np.asarray(picture)[shown], longest_px)


def _ring(draw: "ImageDraw.ImageDraw", box: Box) -> None:
    left, top, width, height = box
    out = max(_RING_PX, round(_RING_SHARE * max(width, height)))
    for colour, line, wider in (("black", 7, 2), ("white", 3, 0)):
        edge = (left - out - wider, top - out - wider, left + width + out + wider, top + height + out + wider)
        draw.ellipse(edge, outline=colour, width=line)


def save_crops(farm: Farm, items: Sequence[ReviewItem]) -> tuple[list[str | None], list[str]]:
    """Save the part of the face around each suspect as a picture to look at.

    For each item the path, or None where there is none; and which pictures are damaged, or missing for a reason.
    """
    crops: list[str | None] = []
    problems: list[str] = []
    for item in items:
        try:
            crops.append(_save_crop(farm, item))
        except DamagedFaceError as error:
            crops.append(None)
            problems.append(f"{item.vessel}: {error}")
        if item.reading is not None and lacks_picture(item):
            path = item.reading.photo
            problems.append(f"{item.vessel}: no picture is kept of {path}; `spawnrun measure --again {path}` makes one")
    return crops, problems


def _save_crop(farm: Farm, item: ReviewItem) -> str | None:
    if item.reading is None or item.suspect is None:
        return None
    reading = _with_frame(farm, item.reading)
    place = place_of(reading, item.suspect.box, "face") or place_of(reading, item.suspect.box, "label")
    window = None if place is None else box_on_face(reading, _with_margin(place))
    picture = None if window is None else crop_jpeg(farm, reading.photo_hash, reading.slot, window)
    if picture is None:
        return None
    name = re.sub(r"[^A-Za-z0-9-]+", "_", f"{item.vessel}-{item.key or item.subject}")
    target = output_folder(farm.folder / "review") / f"{name}.jpg"
    replace_file(target, picture)
    return str(target)


def _with_margin(place: Place) -> Place:
    """A square around the place with a margin."""
    side = max(place.width_mm, place.height_mm) + 2 * _CROP_MARGIN_MM
    across, down = place.middle_mm
    return replace(place, left_mm=across - side / 2, top_mm=down - side / 2, width_mm=side, height_mm=side)


def _with_frame(farm: Farm, reading: KeptReading) -> KeptReading:
    """The reading with its frame; records of an older version have it only in the kept face, if that can be read."""
    if reading.frame is not None or not reading.has_face:
        return reading
    try:
        face = read_face(face_file(farm, reading.photo_hash, reading.slot))
    except DamagedFaceError:
        return reading
    if face is None:
        return reading
    return replace(reading, frame=FaceFrame(tuple(map(tuple, face.to_photo.tolist())), face.px_per_mm))


def _overlap(start: int, length: int, size: int) -> tuple[slice, slice]:
    """The part of a line of pixels that a window covers, and where it lies in the window."""
    first, last = min(max(start, 0), size), min(max(start + length, 0), size)
    return slice(first, last), slice(first - start, last - start)
