"""Where something lies on a vessel's face, so that a spot of one day can be found again on another.

On a vessel with its label stuck on, the face frame is held by the label: the same spot has the same millimetres every
day. On others (jars, plates, photos without a label) a place is measured from the middle of the face as it was found.
That is accurate to a few millimetres, and only if the vessel was not turned.
"""

from collections.abc import Iterable
from typing import Literal

from calibration import Side, vessel_kinds
from farm.records.models import KeptReading, Place, Vessel

#: left, top, width, height in pixels.
Box = tuple[int, int, int, int]
Anchor = Literal["label", "face"]

#: How far apart two boxes of one thing may lie on two days, mm.
SAME_PLACE_MM: dict[Anchor, float] = {"label": 6.0, "face": 12.0}


def anchor_of(vessel: Vessel, readings: Iterable[KeptReading]) -> Anchor:
    """What holds places on the vessel's face: its label if it is stuck on and was seen in all readings with a face."""
    on_face = (vessel.label_place or vessel_kinds()[vessel.kind].label_place) == "on_face"
    seen = all(one.frame is not None and "no_label" not in one.flags for one in readings if one.status == "ok")
    return "label" if on_face and seen else "face"


def place_of(reading: KeptReading, box: Box, anchor: Anchor) -> Place | None:
    """The place on the face of a box in photo pixels; None where the reading lacks the scale or frame for it."""
    found = _in_mm(reading, box)
    if found is None:
        return None
    side: Side = "back" if reading.side == "back" else "front"
    if anchor == "label":
        return None if reading.frame is None else Place(anchor, *found, side)
    face = None if reading.face_box is None else _in_mm(reading, reading.face_box)
    if face is None:
        return None
    left, top, width, height = found
    return Place(anchor, left - face[0] - face[2] / 2, top - face[1] - face[3] / 2, width, height, side)


def box_on_face(reading: KeptReading, place: Place) -> Box | None:
    """The box in face pixels at which a place lies in a reading; None where no face is kept."""
    if reading.frame is None:
        return None
    left, top = place.left_mm, place.top_mm
    if place.anchor == "face":
        face = None if reading.face_box is None else _in_mm(reading, reading.face_box)
        if face is None:
            return None
        left, top = left + face[0] + face[2] / 2, top + face[1] + face[3] / 2
    scale = reading.frame.px_per_mm
    return round(left * scale), round(top * scale), round(place.width_mm * scale), round(place.height_mm * scale)


def apart_mm(one: Place, other: Place) -> float:
    """The gap between two boxes, 0 where they touch; infinite between places of two anchors or two sides."""
    if (one.anchor, one.side) != (other.anchor, other.side):
        return float("inf")
    across = max(one.left_mm, other.left_mm) - min(one.left_mm + one.width_mm, other.left_mm + other.width_mm)
    down = max(one.top_mm, other.top_mm) - min(one.top_mm + one.height_mm, other.top_mm + other.height_mm)
    gap = (max(across, 0.0) ** 2 + max(down, 0.0) ** 2) ** 0.5
    return float(gap)


def same_place(one: Place, other: Place) -> bool:
    """Whether two boxes of two days may be one thing."""
    return apart_mm(one, other) <= SAME_PLACE_MM[one.anchor]


def around(places: Iterable[Place]) -> Place:
    """The box around several of one anchor and side; at least one."""
    every = list(places)
    left = min(one.left_mm for one in every)
    top = min(one.top_mm for one in every)
    right = max(one.left_mm + one.width_mm for one in every)
    bottom = max(one.top_mm + one.height_mm for one in every)
    return Place(every[0].anchor, left, top, right - left, bottom - top, every[0].side)


def where_on_face(box: Box, face_box: Box | None) -> str:
    """A box's place on the face in words, such as "upper left"; both in photo pixels."""
    if face_box is None:
        return ""
    across = (box[0] + box[2] / 2 - face_box[0]) / max(face_box[2], 1)
    down = (box[1] + box[3] / 2 - face_box[1]) / max(face_box[3], 1)
    row = "upper" if down < 1 / 3 else "lower" if down > 2 / 3 else ""
    column = "left" if across < 1 / 3 else "right" if across > 2 / 3 else ""
    return " ".join(filter(None, (row, column))) or "middle"


def where_in_words(box: Box, reading: KeptReading) -> str:
    """A box's place on the vessel in words, such as "upper left, back"; the box in photo pixels of the reading."""
    return ", ".join(filter(None, (where_on_face(box, reading.face_box), "back" * (reading.side == "back"))))


def face_box_of(box: Box, to_photo: "Iterable[Iterable[float]]") -> tuple[float, float, float, float]:
    """Left, top, width, height in face pixels around a box in photo pixels.

    to_photo: (3, 3), face to photo; a turn, a scale and a shift (vision/face/frame.py), so its last row is 0, 0, 1.
    """
    # By hand: lists follow suspects through thousands of small boxes, and an array for each takes ten times as long.
    (a, b, c), (d, e, f), _ = to_photo
    left, top, width, height = box
    x, y = left + width / 2 - c, top + height / 2 - f
    area = a * e - b * d
    across, down = (e * x - b * y) / area, (a * y - d * x) / area
    wide, high = (abs(e) * width + abs(b) * height) / abs(area), (abs(d) * width + abs(a) * height) / abs(area)
    return float(across - wide / 2), float(down - high / 2), float(wide), float(high)


def _in_mm(reading: KeptReading, box: Box) -> tuple[float, float, float, float] | None:
    """Left, top, width, height in mm of a box in photo pixels: in the face frame, or from the photo without one."""
    if reading.frame is not None:
        left, top, width, height = face_box_of(box, reading.frame.to_photo)
        scale = 1.0 / reading.frame.px_per_mm
    elif reading.mm_per_px is not None:
        left, top, width, height = box
        scale = reading.mm_per_px
    else:
        return None
    return left * scale, top * scale, width * scale, height * scale
