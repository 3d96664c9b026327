"""Find and read vessel labels in a photo.

A symbol that the decoder finds but cannot read is tried again, enlarged and smoothed. Failing that, its modules are
compared with the codes of the expected vessels. Such a result is marked ``matched``, and is given only if one vessel
fits much better than all others.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any

import cv2
import numpy as np
import segno
import zxingcpp
from numpy.typing import NDArray

from calibration import CODE_MODULES, VESSEL_ID_PATTERN, LabelGeometry
from vision.label.code_places import Part, parts_with_codes

#: Least correlation (-1 to 1) of the modules with a vessel's code, and its least lead over the second best vessel.
MATCH_CORRELATION = 0.80
MATCH_LEAD = 0.12
#: Side of the symbol in an enlarged crop, px: 6 px per module read best on noisy labels at 2 px per mm.
_CROP_CODE_PX = 6 * CODE_MODULES
_MIN_BLOCK_MODULES = 12
#: Photos up to this size are also decoded at twice the size, unless the modules of every label read so far are at
#: least _LARGE_MODULE_PX wide: then labels somewhat farther away still have 3 px or more, which the decoder reads.
_DOUBLED_PIXELS = 16_000_000
_LARGE_MODULE_PX = 4.5
QR_CODES = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])


@dataclass(frozen=True, eq=False)
class Label:
    """A label in a photo.

    text: the vessel id on it, or None if the symbol was found but could not be read.
    code: float (4, 2), corners of the symbol as (column, row) in photo px: top left, top right, bottom right,
    bottom left of the symbol as printed.
    matched: the id comes from comparing modules with expected codes, not from the decoder.
    """

    text: str | None
    code: NDArray[np.float64]
    matched: bool = False

    @cached_property
    def centre(self) -> NDArray[np.float64]:
        """Centre of the symbol, (column, row)."""
        return np.asarray(self.code.mean(axis=0))

    @cached_property
    def code_side_px(self) -> float:
        """Mean side of the symbol, px."""
        return float(np.linalg.norm(self.code - np.roll(self.code, -1, axis=0), axis=1).mean())

    @property
    def angle(self) -> float:
        """Direction of the label's x axis in the photo, radians from horizontal, downwards positive."""
        axis = (self.code[1] - self.code[0]) + (self.code[2] - self.code[3])
        return float(np.arctan2(axis[1], axis[0]))

    def px_per_mm(self, geometry: LabelGeometry) -> float:
        """Scale of the photo at the label, given the label's geometry."""
        return self.code_side_px / geometry.code_side_mm

    def to_photo(self, geometry: LabelGeometry) -> NDArray[np.float64]:
        """Homography (3, 3) from millimetres on the label (x, y, 1) to photo px (column, row, 1)."""
        left, top, side = geometry.code_left_mm, geometry.code_top_mm, geometry.code_side_mm
        printed = np.array([[left, top], [left + side, top], [left + side, top + side], [left, top + side]], np.float32)
        return np.asarray(cv2.getPerspectiveTransform(printed, self.code.astype(np.float32)), np.float64)


def find_labels(grey: NDArray[np.uint8], expected: Iterable[str] = ()) -> list[Label]:
    """All labels in a grey photo (H, W), one per place; those that were read have a text.

    expected: vessel ids that labels may carry, used only for symbols that the decoder could not read.
    """
    found = _decode(grey, 1.0)
    if min(grey.shape) > CODE_MODULES and _wants_doubling(grey, found):
        found += _decode_doubled(grey, found)
    read = _distinct(label for label in found if label.text)
    unread = [label for label in found if not label.text and _is_apart(label, read)]
    return _distinct([*read, *(_decode_enlarged(grey, label, expected) for label in unread)])


def _wants_doubling(grey: NDArray[np.uint8], found: list[Label]) -> bool:
    read = [label.code_side_px for label in found if label.text]
    return not read or (grey.size <= _DOUBLED_PIXELS and min(read) < _LARGE_MODULE_PX * CODE_MODULES)


def _decode(grey: NDArray[np.uint8], scale: float) -> list[Label]:
    """Labels in a photo that was enlarged ``scale`` times; at scale 1 smaller sizes are tried too, for large labels."""
    hits = zxingcpp.read_barcodes(
        grey, formats=QR_CODES, return_errors=True, try_rotate=False, try_invert=False, try_downscale=scale == 1.0
    )
    return [label for hit in hits if (label := _label(hit, scale)) is not None]


def _decode_doubled(grey: NDArray[np.uint8], found: list[Label]) -> list[Label]:
    """Labels in a photo at twice its size, looked for where a code could be, going by those found so far.

    All of it is searched where one there cannot be read: its corners depend on what else is searched.
    """
    parts = parts_with_codes(grey, [label.code for label in found if label.text])
    if parts is not None:
        there = [label for part in parts for label in _decode_part(grey, part)]
        read = [label for label in (*found, *there) if label.text]
        if not any(label.text is None and _is_apart(label, read) for label in there):
            return there
    return _decode_part(grey, (slice(0, grey.shape[0]), slice(0, grey.shape[1])))


def _decode_part(grey: NDArray[np.uint8], part: Part) -> list[Label]:
    """Labels in a part of a photo at twice its size."""
    double = np.asarray(cv2.resize(grey[part], None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)
    corner = np.array([part[1].start, part[0].start])
    return [replace(label, code=label.code + corner) for label in _decode(double, 2.0)]


def _label(hit: "zxingcpp.Barcode", scale: float) -> Label | None:
    place = hit.position
    corners = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
    code = np.array([(corner.x, corner.y) for corner in corners], np.float64) / scale
    sides = np.linalg.norm(code - np.roll(code, -1, axis=0), axis=1)
    if sides.min() < CODE_MODULES or sides.max() > 2 * sides.min():
        return None
    return Label(hit.text if hit.valid else None, code)


def _distinct(labels: Iterable[Label]) -> list[Label]:
    """One label per place: a read one before an unread one, a small one before a large one.

    The finder patterns of several labels can be mistaken for one large symbol; the smaller labels then win.
    """
    kept: list[Label] = []
    for label in sorted(labels, key=lambda one: (one.text is None, one.matched, one.code_side_px)):
        if _is_apart(label, kept):
            kept.append(label)
    return kept


def _is_apart(label: Label, others: Iterable[Label]) -> bool:
    reach = label.code_side_px if label.text is None else 0.0
    return all(np.linalg.norm(label.centre - o.centre) > 0.7 * max(reach, o.code_side_px) for o in others)


def _decode_enlarged(grey: NDArray[np.uint8], label: Label, expected: Iterable[str]) -> Label:
    """The label with its id if an enlarged crop can be decoded or matched, else unchanged."""
    crop, to_crop = _enlarged(grey, label)
    for sigma in (0.0, 1.5, 2.5, 3.5):
        smooth = cv2.GaussianBlur(crop, (0, 0), sigma) if sigma else crop
        for hit in zxingcpp.read_barcodes(smooth, formats=QR_CODES, try_rotate=False, try_invert=False):
            if (again := _label(hit, 1.0)) is not None:
                code = cv2.perspectiveTransform(again.code[None], np.linalg.inv(to_crop))[0]
                return Label(again.text, code)
    text = _match(np.asarray(cv2.GaussianBlur(crop, (0, 0), 2.0), np.uint8), expected)
    return Label(text, label.code, matched=text is not None)


def _enlarged(grey: NDArray[np.uint8], label: Label) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """An upright crop of the symbol with its quiet zone, and the homography from photo to crop."""
    margin = _CROP_CODE_PX // 4
    low, high = margin, margin + _CROP_CODE_PX
    square = np.array([[low, low], [high, low], [high, high], [low, high]], np.float32)
    to_crop = cv2.getPerspectiveTransform(label.code.astype(np.float32), square)
    size = _CROP_CODE_PX + 2 * margin
    crop = cv2.warpPerspective(grey, to_crop, (size, size), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(crop, np.uint8), np.asarray(to_crop, np.float64)


def _match(crop: NDArray[np.uint8], expected: Iterable[str]) -> str | None:
    """The expected id whose code clearly fits the crop's modules best, or None."""
    texts = sorted(text for text in expected if re.fullmatch(VESSEL_ID_PATTERN, text))
    if not texts:
        return None
    ideals = np.concatenate([ideal_modules(text) for text in texts])
    agreement = _agreement(_sampled_modules(crop), ideals).reshape(len(texts), -1).max(axis=1)
    order = np.argsort(-agreement)
    lead = agreement[order[0]] - (agreement[order[1]] if len(texts) > 1 else 0.0)
    return texts[order[0]] if agreement[order[0]] >= MATCH_CORRELATION and lead >= MATCH_LEAD else None


def _sampled_modules(crop: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Brightness of each module relative to its surroundings, for each shift of the grid: (shifts, 21, 21)."""
    margin = _CROP_CODE_PX // 4
    step = _CROP_CODE_PX / CODE_MODULES
    grid = (margin + (np.arange(CODE_MODULES) + 0.5) * step).astype(np.float32)
    level = crop.astype(np.float32)
    level -= cv2.blur(level, (int(7 * step), int(7 * step)))
    shifts = np.arange(-1.0, 1.01, 0.25) * step
    planes = []
    for down in shifts:
        for right in shifts:
            columns, rows = np.meshgrid(grid + right, grid + down)
            planes.append(cv2.remap(level, columns.astype(np.float32), rows.astype(np.float32), cv2.INTER_LINEAR))
    return np.asarray(planes, np.float64)


def _agreement(shifted: NDArray[np.float64], ideals: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Correlation, -1 to 1, of sampled modules (shifts, 21, 21) with the light modules of codes (n, 21, 21): (n,).

    A sticker is not perfectly flat, so each of nine blocks of 7 x 7 modules may have its own shift.
    """
    total, weight = np.zeros(len(ideals)), 0
    for row in range(0, CODE_MODULES, 7):
        for column in range(0, CODE_MODULES, 7):
            block = (slice(None), slice(row, row + 7), slice(column, column + 7))
            data = _data_modules()[block[1:]]
            if (n_modules := int(data.sum())) < _MIN_BLOCK_MODULES:
                continue
            wanted, seen = _standardised(ideals[block][:, data]), _standardised(shifted[block][:, data])
            total += n_modules * (wanted @ seen.T).max(axis=1)
            weight += n_modules
    return total / weight


def _standardised(rows: NDArray[Any]) -> NDArray[np.float64]:
    centred = rows - rows.mean(axis=1, keepdims=True)
    return np.asarray(centred / (np.linalg.norm(centred, axis=1, keepdims=True) + 1e-9))


@cache
def ideal_modules(text: str) -> NDArray[np.uint8]:
    """Light modules of the id's code for each of the eight masks, (8, 21, 21) of 0 and 1."""
    code = segno.make_qr(text, version=1, error="q", mode="alphanumeric", mask=0, boost_error=False)
    dark = np.array([list(row) for row in code.matrix], bool)
    masks = _mask_patterns()
    return np.asarray(~(dark ^ ((masks ^ masks[0]) & _data_modules())), np.uint8)


@cache
def _mask_patterns() -> NDArray[np.bool_]:
    """The eight data masks of ISO/IEC 18004 (section on data masking), True where a module is inverted: (8, 21, 21)."""
    i, j = np.indices((CODE_MODULES, CODE_MODULES))
    conditions = (
        (i + j) % 2,
        i % 2,
        j % 3,
        (i + j) % 3,
        (i // 2 + j // 3) % 2,
        (i * j) % 2 + (i * j) % 3,
        ((i * j) % 2 + (i * j) % 3) % 2,
        ((i + j) % 2 + (i * j) % 3) % 2,
    )
    return np.stack([condition == 0 for condition in conditions])


@cache
def _data_modules() -> NDArray[np.bool_]:
    """True where a module carries data: all but the finder patterns, timing lines and format bits."""
    data = np.ones((CODE_MODULES, CODE_MODULES), bool)
    data[:9, :9] = data[:9, -8:] = data[-8:, :9] = False
    data[6, :] = data[:, 6] = False
    return data
