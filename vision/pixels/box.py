"""The bounding box of a mask, to work on no more than the part of a picture that matters."""

import cv2
import numpy as np
from numpy.typing import NDArray


def box_of(mask: NDArray[np.bool_], margin: int = 0) -> tuple[slice, slice]:
    """Rows and columns of a mask's bounding box, wider by a margin (px) on each side; one pixel if it is empty."""
    left, top, width, height = cv2.boundingRect(mask.view(np.uint8))
    if not width:
        return slice(0, 1), slice(0, 1)
    return _span(top, height, margin), _span(left, width, margin)


def _span(first: int, count: int, margin: int) -> slice:
    return slice(max(0, first - margin), first + count + margin)
