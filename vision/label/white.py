"""Measured light of a perfect matt white at a label, from its grey patches."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration import LABELS, LabelGeometry
from vision.label.labels import Label
from vision.label.pose import rectified_sticker
from vision.pixels import decode_srgb8, undo_shoulder

#: Patches brighter than this are left out of the white estimate if darker ones are usable.
_BRIGHT = 0.6
#: Scale of the rectified sticker for a label of normal size.
_PX_PER_MM_NORMAL = 5.0
#: Margin of a patch that is left out on each side, as a share of the side.
_MARGIN_SHARE = 0.28


def grey_patches(rgb: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> list[NDArray[np.uint8]]:
    """Pixels (h, w, 3) of the middle of each grey patch of a refined label, in the order of ``geometry.patches``.

    The margins are left out, since blur and a small error of the pose mix them with the white around. A patch outside
    the photo is empty.
    """
    scale = _PX_PER_MM_NORMAL * LABELS["normal"].width_mm / geometry.width_mm
    insets = [(patch, _MARGIN_SHARE * patch.side_mm) for patch in geometry.patches]
    rows = [_span(patch.top_mm + inset, patch.side_mm - 2 * inset, scale) for patch, inset in insets]
    columns = [_span(patch.left_mm + inset, patch.side_mm - 2 * inset, scale) for patch, inset in insets]
    down, across = _around(rows), _around(columns)
    printed = rectified_sticker(rgb, label, geometry, scale, (down, across))
    return [
        printed[_moved(some, down.start), _moved(others, across.start)]
        for some, others in zip(rows, columns, strict=True)
    ]


def white_at_label(rgb: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> NDArray[np.float64] | None:
    """Scene light (3,) of a perfect matt white at a refined label, or None if its patches cannot be used."""
    gains = []
    for patch, square in zip(geometry.patches, grey_patches(rgb, label, geometry), strict=True):
        if square.size == 0:
            continue
        level = undo_shoulder(np.median(decode_srgb8(square).reshape(-1, 3), axis=0))
        gains.append((float(level.max()), level / patch.light))
    usable = [gain for level, gain in gains if level <= _BRIGHT] or [gain for _, gain in gains]
    if not usable:
        return None
    return np.asarray(np.exp(np.median(np.log(np.maximum(usable, 1e-4)), axis=0)), np.float64)


def _around(spans: Sequence[slice]) -> slice:
    return slice(min(one.start for one in spans), max(one.stop for one in spans))


def _moved(span: slice, by: int) -> slice:
    return slice(span.start - by, span.stop - by)


def _span(start_mm: float, length_mm: float, scale: float) -> slice:
    start = round(start_mm * scale)
    return slice(start, start + round(length_mm * scale))
