"""Exposure and white balance: what a perfect matt white would measure at a label, from its grey patches."""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LabelGeometry
from vision.colour import decode_srgb8, grey_of, srgb_to_linear
from vision.labels import Label

#: Cameras bend the highlights: linear up to here, then an exponential shoulder towards 1. A common form of tone
#: curve; the knee was set from the grey patches of rendered photos, so it is an assumption for other cameras.
SHOULDER_KNEE = 0.5
#: Measured light above this is too near to clipping to be undone.
SHOULDER_LIMIT = 0.975
#: Patches measured above this level are left out of the white estimate while darker ones can be used.
_BRIGHT = 0.6

_PX_PER_MM_NORMAL = 5.0
_SEARCH_MM = 2.4


def undo_shoulder(linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Scene light of measured light 0-1 (same shape): the inverse of the tone curve's shoulder, 0 to about 2."""
    measured = np.minimum(np.asarray(linear, np.float32), SHOULDER_LIMIT)
    room = 1.0 - SHOULDER_KNEE
    above = np.maximum(measured - SHOULDER_KNEE, 0.0)
    return np.asarray(np.minimum(measured, SHOULDER_KNEE) - room * np.log1p(-above / room), np.float32)


def scene_light(rgb: NDArray[np.uint8], white: NDArray[np.float64]) -> NDArray[np.float32]:
    """Linear light of 8-bit sRGB (rows, columns, 3) with a perfect matt white at 1, tone curve undone."""
    return np.asarray(undo_shoulder(decode_srgb8(rgb)) / np.maximum(white, 1e-4).astype(np.float32), np.float32)


def to_lab(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """CIE Lab (D65) of linear light (rows, columns, 3); light above white counts as white."""
    return np.asarray(cv2.cvtColor(np.clip(light, 0.0, 1.0).astype(np.float32), cv2.COLOR_LRGB2LAB), np.float32)


def white_at_label(rgb: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> NDArray[np.float64] | None:
    """Scene light (3,) that a perfect matt white would send at the label, or None if the patches cannot be used."""
    scale = _PX_PER_MM_NORMAL * 60.0 / geometry.width_mm
    size = (round(geometry.width_mm * scale), round(geometry.height_mm * scale))
    to_label = np.diag([scale, scale, 1.0]) @ np.linalg.inv(label.to_photo(geometry))
    warped = cv2.warpPerspective(rgb, to_label, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sticker = np.asarray(warped, np.uint8)
    shift_row, shift_column = _patch_shift(grey_of(sticker), geometry, scale)
    gains = []
    for patch in geometry.patches:
        inset = 0.28 * patch.side_mm
        rows = _span(patch.top_mm + inset, patch.side_mm - 2 * inset, scale, shift_row)
        columns = _span(patch.left_mm + inset, patch.side_mm - 2 * inset, scale, shift_column)
        square = sticker[rows, columns]
        if square.size == 0:
            continue
        level = undo_shoulder(np.median(decode_srgb8(square).reshape(-1, 3), axis=0))
        gains.append((float(level.max()), level / srgb_to_linear(np.array(patch.srgb / 255.0))))
    usable = [gain for level, gain in gains if level <= _BRIGHT] or [gain for _, gain in gains]
    if not usable:
        return None
    return np.asarray(np.exp(np.median(np.log(np.maximum(usable, 1e-4)), axis=0)), np.float64)


def _span(start_mm: float, length_mm: float, scale: float, shift: int) -> slice:
    start = round(start_mm * scale) + shift
    return slice(max(start, 0), max(start + round(length_mm * scale), 0))


def _patch_shift(grey: NDArray[np.uint8], geometry: LabelGeometry, scale: float) -> tuple[int, int]:
    """Rows and columns by which the patches lie off their place: the sticker is curved, the code's corners coarse."""
    template, top, left = _patch_template(geometry, scale)
    reach = round(_SEARCH_MM * scale * geometry.width_mm / 60.0)
    rows, columns = template.shape
    window = grey[max(top - reach, 0) : top + rows + reach, max(left - reach, 0) : left + columns + reach]
    if window.shape[0] < rows or window.shape[1] < columns or window.std() < 1:
        return 0, 0
    fit = cv2.matchTemplate(window, template, cv2.TM_CCOEFF_NORMED)
    row, column = np.unravel_index(int(fit.argmax()), fit.shape)
    return int(row) - min(top, reach), int(column) - min(left, reach)


@cache
def _patch_template(geometry: LabelGeometry, scale: float) -> tuple[NDArray[np.uint8], int, int]:
    """The four patches on white as they should look, with the row and column of their top left corner."""
    margin = geometry.patches[0].side_mm / 8
    left = min(patch.left_mm for patch in geometry.patches) - margin
    top = min(patch.top_mm for patch in geometry.patches) - margin
    right = max(patch.left_mm + patch.side_mm for patch in geometry.patches) + margin
    bottom = max(patch.top_mm + patch.side_mm for patch in geometry.patches) + margin
    drawn = np.full((round((bottom - top) * scale), round((right - left) * scale)), 255, np.uint8)
    for patch in geometry.patches:
        row, column = round((patch.top_mm - top) * scale), round((patch.left_mm - left) * scale)
        side = round(patch.side_mm * scale)
        drawn[row : row + side, column : column + side] = patch.srgb
    return drawn, round(top * scale), round(left * scale)
