"""Measured light of a perfect matt white at a label, from its grey patches."""

import numpy as np
from numpy.typing import NDArray

from calibration import LabelGeometry
from vision.label.labels import Label
from vision.label.pose import rectified_sticker
from vision.pixels import decode_srgb8, undo_shoulder

#: Patches brighter than this are left out of the white estimate if darker ones are usable.
_BRIGHT = 0.6
#: Scale of the rectified sticker for a label of normal size.
_PX_PER_MM_NORMAL = 5.0


def white_at_label(rgb: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> NDArray[np.float64] | None:
    """Scene light (3,) of a perfect matt white at a refined label, or None if its patches cannot be used."""
    scale = _PX_PER_MM_NORMAL * 60.0 / geometry.width_mm
    sticker = rectified_sticker(rgb, label, geometry, scale)
    gains = []
    for patch in geometry.patches:
        inset = 0.28 * patch.side_mm
        rows = _span(patch.top_mm + inset, patch.side_mm - 2 * inset, scale)
        columns = _span(patch.left_mm + inset, patch.side_mm - 2 * inset, scale)
        square = sticker[rows, columns]
        if square.size == 0:
            continue
        level = undo_shoulder(np.median(decode_srgb8(square).reshape(-1, 3), axis=0))
        gains.append((float(level.max()), level / patch.light))
    usable = [gain for level, gain in gains if level <= _BRIGHT] or [gain for _, gain in gains]
    if not usable:
        return None
    return np.asarray(np.exp(np.median(np.log(np.maximum(usable, 1e-4)), axis=0)), np.float64)


def _span(start_mm: float, length_mm: float, scale: float) -> slice:
    start = round(start_mm * scale)
    return slice(start, start + round(length_mm * scale))
