"""The parts of a photo in which a code could be: where, for some way in every direction, ink lies beside bright paper.

Told on the picture at half its size, by the labels that were read in it already. What has as much contrast, such as
bare grain, stays in; walls, shadows, mycelium and thin edges go.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import block_means

#: The picture is judged by squares of this side, px, and by what lies within a window of so many px of its half size.
_SQUARE_PX, _WINDOW_HALF_PX = 8, 5
#: Contrast: mean difference from the mean of a window, as a share of its brightest level. A code has this much, or this
#: share of the least contrast of a label that was read; its paper has this share of the level of the darkest of these.
#: In 1,180 drawn hard labels (``benchmarks.speed.labels``) contrast was 0.11 at least, and 0.50 of the least that was
#: read, the paper 0.29 (each is lit by chance); in the development scenes 0.17, 0.90 and 0.99.
_CONTRAST, _CONTRAST_OF_READ, _PAPER_OF_READ = 0.07, 0.4, 0.25
#: A code covers at least so many squares both ways; so many are added on each side.
_LEAST_SQUARES, _MARGIN_SQUARES = 3, 3
#: Parts begin at multiples of this, px, so that at twice the size the decoder sees what it sees of the whole: it judges
#: blocks of 8 px and looks at every third row.
_GRID_PX = 24
#: Where the parts have more than this share of the picture, all of it is searched.
_MOST = 0.85

Part = tuple[slice, slice]


def parts_with_codes(grey: NDArray[np.uint8], read: Sequence[NDArray[np.float64]]) -> list[Part] | None:
    """Rows and columns of the parts of a grey photo (H, W) that may hold a code; they may overlap. None for all of it.

    read: corners (4, 2) as (column, row) of codes that were read in it; without one it is all of it.
    """
    if not read or min(grey.shape) < 2 * _SQUARE_PX:
        return None
    bright, contrast = _bright_and_contrast(grey)
    places = tuple(np.array([_square_at(corners, bright.shape) for corners in read]).T)
    least = min(_CONTRAST, _CONTRAST_OF_READ * float(contrast[places].min()))
    may_be = (contrast >= least) & (bright >= _PAPER_OF_READ * float(bright[places].min()))
    parts = _around(may_be, grey.shape)
    return parts if sum(grey[part].size for part in parts) <= _MOST * grey.size else None


def _bright_and_contrast(grey: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Brightest level near each square of a photo, and contrast there, means over it and those beside it."""
    rows, columns = (size // _SQUARE_PX * _SQUARE_PX for size in grey.shape)
    half = block_means(grey[:rows, :columns], 2)
    window = (_WINDOW_HALF_PX, _WINDOW_HALF_PX)
    bright = _by_square(cv2.dilate(half, np.ones(window, np.uint8)))
    differs = _by_square(cv2.absdiff(half, cv2.blur(half, window)))
    return bright, np.asarray(differs / np.maximum(bright, 1), np.float32)


def _by_square(half: cv2.typing.MatLike) -> NDArray[np.float32]:
    squares = np.asarray(half, np.uint8)
    for _ in range(2):  # twice by two: OpenCV is quicker at this than at once by four
        squares = block_means(squares, 2)
    return np.asarray(cv2.blur(squares.astype(np.float32), (3, 3)), np.float32)


def _square_at(corners: NDArray[np.float64], shape: tuple[int, ...]) -> tuple[int, int]:
    """The square, row and column, in which the middle of a code lies."""
    column, row = np.clip(corners.mean(axis=0) // _SQUARE_PX, 0, [shape[1] - 1, shape[0] - 1]).astype(int)
    return int(row), int(column)


def _around(may_be: NDArray[np.bool_], shape: tuple[int, ...]) -> list[Part]:
    """The boxes, in px of the photo, of what hangs together of such squares; what is too small for a code goes."""
    least = np.ones((_LEAST_SQUARES, _LEAST_SQUARES), np.uint8)
    wider = np.ones((2 * _MARGIN_SQUARES + 1, 2 * _MARGIN_SQUARES + 1), np.uint8)
    large = cv2.dilate(cv2.morphologyEx(may_be.astype(np.uint8), cv2.MORPH_OPEN, least), wider)
    _, _, found, _ = cv2.connectedComponentsWithStats(large, connectivity=8)
    return [
        (_span(top, height, shape[0]), _span(left, width, shape[1]))
        for left, top, width, height, _ in found[1:].tolist()
    ]


def _span(first: int, count: int, size: int) -> slice:
    """Pixels of some squares, from and to multiples of the grid; to the photo's edge where little is left to it."""
    end = -(-(first + count) * _SQUARE_PX // _GRID_PX) * _GRID_PX
    return slice(first * _SQUARE_PX // _GRID_PX * _GRID_PX, end if end < size - _GRID_PX else size)
