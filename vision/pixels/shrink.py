"""Pictures brought down in size: averaged over whole numbers of pixels, which is quick, then to the very size."""

import cv2
import numpy as np
from numpy.typing import NDArray


def averaged(image: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Means of squares of ``side`` px of a picture (rows, columns[, 3]); what is left over right and below is cut."""
    rows, columns = image.shape[0] // side, image.shape[1] // side
    whole = image[: rows * side, : columns * side]
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def reduced(image: NDArray[np.uint8], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """A picture (rows, columns[, 3]) at another size (rows, columns); made for smaller ones, true for larger too."""
    down, across = image.shape[0] / shape[0], image.shape[1] / shape[1]
    side = int(min(down, across) + 0.5)
    if side > 1:
        image, down, across = averaged(image, side), down / side, across / side
    # From the middle of each new pixel to where it lies between the old ones.
    to_old = np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2]])
    way = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(image, to_old, shape[::-1], flags=way, borderMode=cv2.BORDER_REPLICATE), np.uint8)
