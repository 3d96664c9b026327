"""Show what was measured: a class map of the photo, and the photo with its readings drawn on it."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face import frame_of
from vision.records import BARE, LABEL, MYCELIUM, SUSPECT, MeasuredVessel

_COLOURS = {BARE: (214, 140, 20), MYCELIUM: (20, 120, 255), SUSPECT: (220, 0, 120)}
_VEIL = 0.22


def paint_classes(shape: tuple[int, int], measured: Sequence[MeasuredVessel]) -> NDArray[np.uint8]:
    """Class map, uint8, of a photo of this shape (rows, columns): values of ``vision.records``, 0 outside vessels."""
    classes = np.zeros(shape, np.uint8)
    for vessel in measured:
        if vessel.face is not None and vessel.reading.status == "ok":
            face = vessel.face
            frame = frame_of(face.to_photo, face.classes, face.px_per_mm)
            frame.paste(classes, face.classes)
    return classes


def draw_overlay(rgb: NDArray[np.uint8], measured: Sequence[MeasuredVessel]) -> NDArray[np.uint8]:
    """The photo with the outlines of faces and colonised areas, suspects and percents drawn on it."""
    drawn = rgb.copy()
    classes = paint_classes((rgb.shape[0], rgb.shape[1]), measured)
    thickness = max(1, round(rgb.shape[1] / 900))
    for value in (MYCELIUM, SUSPECT):
        if (here := classes == value).any():
            cv2.copyTo(cv2.LUT(drawn, _tinted(value)), here.view(np.uint8), drawn)
    for value, grown in ((MYCELIUM, False), (SUSPECT, False), (BARE, True)):
        mask = ((classes > 0) & (classes <= LABEL)) if grown else classes == value
        contours, _ = cv2.findContours(
            mask.astype(np.uint8), cv2.RETR_EXTERNAL if grown else cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
        )
        cv2.drawContours(drawn, contours, -1, _COLOURS[value], thickness, cv2.LINE_AA)
    for vessel in measured:
        _write_reading(drawn, vessel, thickness)
    return drawn


def _tinted(value: int) -> NDArray[np.uint8]:
    """For each level and channel the level under a veil of a class's colour, (1, 256, 3)."""
    levels, colour = np.arange(256, dtype=np.float32)[None, :, None], np.array(_COLOURS[value], np.float32)
    return (levels * (1 - _VEIL) + colour * _VEIL).astype(np.uint8)


def _write_reading(drawn: NDArray[np.uint8], vessel: MeasuredVessel, thickness: int) -> None:
    reading = vessel.reading
    if reading.face_box is None:
        return
    left, top, _, height = reading.face_box
    if reading.percent is None:
        text = f"{reading.vessel or '?'}: no reading"
    else:
        text = f"{reading.vessel or ''} {reading.percent:.0f} % ({reading.percent_low:.0f}-{reading.percent_high:.0f})"
    size = max(0.45, drawn.shape[1] / 2600)
    (text_width, text_height), base = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, thickness)
    row = min(top + height + text_height + 2 * base, drawn.shape[0] - base)
    cv2.rectangle(drawn, (left, row - text_height - base), (left + text_width + base, row + base), (255, 255, 255), -1)
    place = (left + base // 2, row)
    cv2.putText(drawn, text, place, cv2.FONT_HERSHEY_SIMPLEX, size, (20, 20, 20), thickness, cv2.LINE_AA)
    for suspect in reading.suspects:
        x, y, w, h = suspect.box
        cv2.rectangle(drawn, (x - 3, y - 3), (x + w + 3, y + h + 3), _COLOURS[SUSPECT], thickness + 1)
        word = f"look: {suspect.colour} {suspect.area_cm2:.1f} cm2"
        cv2.putText(
            drawn, word, (x, max(y - 8, 12)), cv2.FONT_HERSHEY_SIMPLEX, size, _COLOURS[SUSPECT], thickness, cv2.LINE_AA
        )
