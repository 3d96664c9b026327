"""The pixels of a picture that Pillow has opened, of any colour mode, as upright RGB."""

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.pixels.exif import upright

_DEEP = ("I;16", "I;16B", "I;16L", "I")
_LEVELS_8 = 255
#: Rows that are converted at once where a mode needs more memory a pixel than the result.
_ROWS_AT_ONCE = 256


def rgb_of(image: Image.Image, reduced: int) -> NDArray[np.uint8]:
    """Pixels (rows, columns, 3), upright; transparent ones on black, 16 bits brought to 8. reduced: 1 or 2."""
    image.load()
    height, width = image.height // reduced, image.width // reduced
    deep_most = _deepest(image)
    rgb = np.empty((max(1, height), max(1, width), 3), np.uint8)
    step = _ROWS_AT_ONCE * reduced
    for top in range(0, max(1, height) * reduced, step):
        rows = _part_rgb(image.crop((0, top, image.width, min(top + step, image.height))), deep_most)
        to = rgb[top // reduced : top // reduced + step // reduced]
        if reduced == 1:
            to[:] = rows
        else:
            to[:] = cv2.resize(rows, (to.shape[1], to.shape[0]), interpolation=cv2.INTER_AREA)
    return upright(rgb, image)


def _deepest(image: Image.Image) -> int:
    """The highest level of a picture of deep greys; 0 for other modes."""
    if image.mode not in _DEEP:
        return 0
    return max(1, int(np.max(image.getextrema())))


def _part_rgb(part: Image.Image, deep_most: int) -> NDArray[np.uint8]:
    if deep_most:
        deep = np.asarray(part).astype(np.float64)
        levels = np.clip(deep / (257.0 if deep_most > _LEVELS_8 else 1.0), 0, _LEVELS_8).astype(np.uint8)
        part = Image.fromarray(levels)
    if part.mode in ("RGBA", "LA", "PA") or "transparency" in part.info:
        part = part.convert("RGBA")
        part = Image.alpha_composite(Image.new("RGBA", part.size, (0, 0, 0, 255)), part)
    return np.asarray(part.convert("RGB"), np.uint8)
