"""Scale pictures down without aliasing: first block means over whole pixels, which is fast, then to the exact size."""

import cv2
import numpy as np
from numpy.typing import NDArray


def block_means(image: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Means of ``side`` x ``side`` px blocks of a picture (rows, columns[, 3]); incomplete blocks are dropped."""
    rows, columns = image.shape[0] // side, image.shape[1] // side
    whole = image[: rows * side, : columns * side]
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def reduced(image: NDArray[np.uint8], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """A picture (rows, columns[, 3]) resized to (rows, columns); meant for smaller sizes, correct for larger too."""
    down, across = image.shape[0] / shape[0], image.shape[1] / shape[1]
    side = int(min(down, across) + 0.5)
    if side > 1:
        image, down, across = block_means(image, side), down / side, across / side
    # Maps the centre of each new pixel to old pixel coordinates.
    to_old = np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2]])
    return warped(image, to_old, shape, cv2.BORDER_REPLICATE)


def warped(
    image: NDArray[np.uint8], to_old: NDArray[np.float64], shape: tuple[int, int], border: int = cv2.BORDER_CONSTANT
) -> NDArray[np.uint8]:
    """A picture (rows, columns[, 3]) on another grid of (rows, columns), interpolated linearly.

    to_old: (2, 3), new pixel (column, row, 1) to old (column, row). border: one of OpenCV's, beyond the picture; black
    if not given.
    """
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    if image.ndim == 2:
        return np.asarray(cv2.warpAffine(image, to_old, shape[::-1], flags=flags, borderMode=border), np.uint8)
    # OpenCV warps four channels in half the time of three.
    four = cv2.warpAffine(cv2.cvtColor(image, cv2.COLOR_RGB2RGBA), to_old, shape[::-1], flags=flags, borderMode=border)
    return np.asarray(cv2.cvtColor(four, cv2.COLOR_RGBA2RGB), np.uint8)
