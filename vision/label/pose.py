"""Refine the position of a label that was read, by matching a drawing of its code and patches to the photo.

The decoder gives the corners of the code to a pixel or two. Extrapolated to the far side of the sticker, that is an
error of several millimetres. Once the id is known, the printed code is known too: parts of it, and the patches beside
it, are located to a fraction of a pixel, and they span most of the sticker.
"""

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import CODE_MODULES, LabelGeometry
from vision.label.labels import Label, ideal_modules

#: Two passes: largest offset of a part, mm on a normal label, and scale of the rectified sticker, px per mm.
_PASSES = ((3.0, 3.0), (1.2, 6.0))
#: Least correlation at which a part counts as found.
_FOUND = 0.55
_MIN_PARTS = 4
#: Drawings of stickers that are cached for the next pass and the next photo, 85 KiB each.
_CACHED_DRAWINGS = 128
#: A sticker is small compared with its distance, so an affine map fits its parts; a larger residual is an error.
_PERSPECTIVE_PX = 1.5


def settle_label(grey: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> Label:
    """The label with its code corners moved to the best fit of the whole sticker; unchanged if too little is found.

    grey: photo (rows, columns).
    """
    if label.text is None:
        return label
    for reach_mm, px_per_mm in _PASSES:
        moved = _one_pass(grey, label, geometry, reach_mm, px_per_mm)
        if moved is None:
            return label
        label = moved
    return label


def rectified_sticker(
    photo: NDArray[np.uint8],
    label: Label,
    geometry: LabelGeometry,
    scale: float,
    part: tuple[slice, slice] | None = None,
) -> NDArray[np.uint8]:
    """The sticker rectified, at ``scale`` px per mm of this geometry (rows, columns[, 3]), or a part of that."""
    rows, columns = part or (slice(0, round(geometry.height_mm * scale)), slice(0, round(geometry.width_mm * scale)))
    corner = np.array([[1, 0, -columns.start], [0, 1, -rows.start], [0, 0, 1]], np.float64)
    # The centre of pixel (0, 0) lies half a pixel inside the sticker.
    to_sticker = corner @ _pixel_scale(scale) @ np.linalg.inv(label.to_photo(geometry))
    size = (columns.stop - columns.start, rows.stop - rows.start)
    warped = cv2.warpPerspective(photo, to_sticker, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(warped, np.uint8)


def _pixel_scale(scale: float) -> NDArray[np.float64]:
    return np.array([[scale, 0, -0.5], [0, scale, -0.5], [0, 0, 1]], np.float64)


def _one_pass(
    grey: NDArray[np.uint8], label: Label, geometry: LabelGeometry, reach_mm: float, px_per_mm: float
) -> Label | None:
    """The label after one pass, or None if too few parts were found."""
    scale = px_per_mm * 60.0 / geometry.width_mm
    sticker = rectified_sticker(grey, label, geometry, scale)
    reach = round(reach_mm * px_per_mm)
    drawn = _best_drawing(sticker, label.text or "", geometry, scale)
    wider = np.asarray(cv2.copyMakeBorder(sticker, reach, reach, reach, reach, cv2.BORDER_REPLICATE), np.uint8)
    printed, seen = [], []
    for box in _parts(geometry):
        found = _find_part(wider, drawn, box, scale, reach)
        if found is not None:
            left, top, width, height = box
            middle = np.array([left + width / 2, top + height / 2])
            printed.append(middle)
            seen.append(middle + np.array(found) / scale)
    if len(printed) < _MIN_PARTS:
        return None
    in_photo = cv2.perspectiveTransform(np.array([seen]), label.to_photo(geometry))[0]
    design = np.column_stack([printed, np.ones(len(printed))])
    affine, *_ = np.linalg.lstsq(design, in_photo, rcond=None)
    if np.abs(design @ affine - in_photo).max() > _PERSPECTIVE_PX * max(1.0, label.code_side_px / 100):
        return None
    left, top, side = geometry.code_left_mm, geometry.code_top_mm, geometry.code_side_mm
    corners = np.array([[left, top, 1], [left + side, top, 1], [left + side, top + side, 1], [left, top + side, 1]])
    return replace(label, code=np.asarray(corners @ affine, np.float64))


def _parts(geometry: LabelGeometry) -> list[tuple[float, float, float, float]]:
    """Boxes (left, top, width, height in mm) of the parts to locate: the quarters of the code, and the patches."""
    half = geometry.code_side_mm / 2
    code = [
        (geometry.code_left_mm + i * half, geometry.code_top_mm + j * half, half, half) for i in (0, 1) for j in (0, 1)
    ]
    patches = geometry.patches
    left, top = min(p.left_mm for p in patches), min(p.top_mm for p in patches)
    right, bottom = max(p.left_mm + p.side_mm for p in patches), max(p.top_mm + p.side_mm for p in patches)
    margin = patches[0].side_mm / 8
    return [*code, (left - margin, top - margin, right - left + 2 * margin, bottom - top + 2 * margin)]


def _find_part(
    wider: NDArray[np.uint8],
    drawn: NDArray[np.uint8],
    box: tuple[float, float, float, float],
    scale: float,
    reach: int,
) -> tuple[float, float] | None:
    """Offset (columns, rows) in px of a part of the drawing in the sticker's picture, or None if not found.

    wider: the sticker's picture with ``reach`` px added on each side.
    """
    left, top, width, height = (round(value * scale) for value in box)
    template = drawn[top : top + height, left : left + width]
    window = wider[top : top + height + 2 * reach, left : left + width + 2 * reach]
    if window.shape[0] < template.shape[0] or window.shape[1] < template.shape[1]:
        return None
    if cv2.meanStdDev(window)[1][0, 0] < 1:
        return None
    fit = np.asarray(cv2.matchTemplate(window, template, cv2.TM_CCOEFF_NORMED), np.float32)
    _, best, _, (column, row) = cv2.minMaxLoc(fit)
    if best < _FOUND:
        return None
    return column + _peak(fit[row], column) - reach, row + _peak(fit[:, column], row) - reach


def _peak(line: NDArray[np.floating], place: int) -> float:
    """Sub-pixel position of a peak relative to ``place``, -0.5 to 0.5, by a parabola."""
    if not 0 < place < len(line) - 1:
        return 0.0
    before, at, after = (float(line[i]) for i in (place - 1, place, place + 1))
    bend = before - 2 * at + after
    return 0.0 if bend >= 0 else min(max((before - after) / (2 * bend), -0.5), 0.5)


def _best_drawing(sticker: NDArray[np.uint8], text: str, geometry: LabelGeometry, scale: float) -> NDArray[np.uint8]:
    """The drawing of the sticker, with the code mask that fits best."""
    side = round(geometry.code_side_mm * scale)
    rows, columns = round(geometry.code_top_mm * scale), round(geometry.code_left_mm * scale)
    code = sticker[rows : rows + side, columns : columns + side]
    seen = cv2.resize(code, (CODE_MODULES, CODE_MODULES), interpolation=cv2.INTER_AREA).astype(np.float64)
    modules = ideal_modules(text).reshape(-1, seen.size).astype(np.float64)
    fits = (modules - modules.mean(axis=1, keepdims=True)) @ seen.ravel()
    return _drawing(text, int(np.argmax(fits)), geometry, scale)


@lru_cache(maxsize=_CACHED_DRAWINGS)
def _drawing(text: str, mask: int, geometry: LabelGeometry, scale: float) -> NDArray[np.uint8]:
    """The sticker as printed with one of the eight code masks."""
    drawing = np.full((round(geometry.height_mm * scale), round(geometry.width_mm * scale)), 255, np.uint8)
    for patch in geometry.patches:
        side = round(patch.side_mm * scale)
        row, column = round(patch.top_mm * scale), round(patch.left_mm * scale)
        drawing[row : row + side, column : column + side] = patch.srgb
    side = round(geometry.code_side_mm * scale)
    row, column = round(geometry.code_top_mm * scale), round(geometry.code_left_mm * scale)
    code = cv2.resize(255 * ideal_modules(text)[mask], (side, side), interpolation=cv2.INTER_NEAREST)
    drawing[row : row + side, column : column + side] = code
    smooth = cv2.GaussianBlur(drawing, (0, 0), geometry.code_side_mm / CODE_MODULES * scale / 3)
    return np.asarray(smooth, np.uint8)
