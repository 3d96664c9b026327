"""Tell tape and stickers from what grows: an even suspect patch with the outline of a strip was put on the vessel.

The network was never shown tape: it is cut out of the faces that it learned from. The numbers were set on 73 scenes
with 17 marks on tape and 98 on moulds, the evenness of light on 43 scenes with 12 and 92, of which they take 12 and
none for tape.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import box_of
from vision.surface.suspects import SuspectPatch

#: A strip is so wide (mm) and at most so long, at least so many times longer than wide, and fills this share of the
#: smallest rectangle around it, and this share of what an ellipse in that rectangle leaves at the corners. Moulds are
#: round or ragged, and most are hardly longer than wide.
_WIDTH_MM, _LONGEST_MM = (8.0, 36.0), 100.0
_LONGER, _FILLS, _FILLS_CORNERS = 1.5, 0.77, 0.3
#: It covers at most this share of a face: a mould over half of a narrow jar has straight edges too.
_MOST_OF_FACE = 0.12
#: Its light is even: the standard deviation of its logarithm, in each channel, at this distance from the edge (mm).
_EVEN, _FROM_EDGE_MM = 0.45, 1.5
#: Fringes and gaps narrower than this are smoothed away first, mm.
_SMOOTHED_MM = 5.0
#: Added to light before its logarithm, so that dark is not uneven.
_FLOOR = 0.01


def without_tape(
    patches: Sequence[SuspectPatch], linear_rgb: NDArray[np.float32], inside: NDArray[np.bool_], px_per_mm: float
) -> tuple[tuple[SuspectPatch, ...], NDArray[np.bool_] | None]:
    """The patches that are no tape, and where tape lies, (H, W), or None; inside: the face, linear_rgb: its light."""
    n_face = int(np.count_nonzero(inside))
    grown: list[SuspectPatch] = []
    tape: NDArray[np.bool_] | None = None
    for one in patches:
        is_small = np.count_nonzero(one.mask) <= _MOST_OF_FACE * n_face
        if is_small and is_strip(one.mask, px_per_mm) and is_even(one.mask, linear_rgb, px_per_mm):
            tape = one.mask if tape is None else tape | one.mask
        else:
            grown.append(one)
    return tuple(grown), tape


def is_strip(mask: NDArray[np.bool_], px_per_mm: float) -> bool:
    """Whether a patch (H, W) has the outline of a strip of tape or a sticker."""
    side = max(3, round(_SMOOTHED_MM * px_per_mm) | 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    patch = np.pad(mask[box_of(mask)].astype(np.uint8), side)
    smooth = cv2.morphologyEx(cv2.morphologyEx(patch, cv2.MORPH_CLOSE, disc), cv2.MORPH_OPEN, disc)
    contours, _ = cv2.findContours(smooth, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return False
    largest = max(contours, key=cv2.contourArea)
    around = cv2.minAreaRect(largest)
    width, length = (one / px_per_mm for one in sorted(around[1]))
    is_long = _WIDTH_MM[0] <= width <= _WIDTH_MM[1] and _LONGER * width <= length <= _LONGEST_MM
    if not is_long or cv2.contourArea(largest) < _FILLS * around[1][0] * around[1][1]:
        return False
    blank = np.zeros(smooth.shape, np.uint8)
    rectangle = cv2.fillConvexPoly(blank.copy(), cv2.boxPoints(around).round().astype(np.int32), 1) > 0
    ellipse = cv2.ellipse(blank, around, 1, cv2.FILLED) > 0
    corners = rectangle & ~ellipse
    return bool(np.count_nonzero(smooth[corners]) >= _FILLS_CORNERS * np.count_nonzero(corners))


def is_even(mask: NDArray[np.bool_], linear_rgb: NDArray[np.float32], px_per_mm: float) -> bool:
    """Whether the light (H, W, 3) of a patch hardly varies away from its edge; false if it is too narrow to tell."""
    part = box_of(mask)
    side = 2 * int(_FROM_EDGE_MM * px_per_mm) + 1
    core = cv2.erode(mask[part].astype(np.uint8), np.ones((side, side), np.uint8), borderValue=0) > 0
    if not core.any():
        return False
    return bool(np.log(linear_rgb[part][core] + _FLOOR).std(axis=0).max() <= _EVEN)
