"""A photo held against the small copy of it that cameras keep in the same file.

A damaged JPEG can decode without a warning: from the damaged spot on, all that follows is brighter, darker or of
another colour. The small copy is coded apart, so it shows that.
"""

from collections.abc import Iterator

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import ExifTags, Image

#: The pictures are compared in so many bands, from top to bottom.
_BANDS = 24
#: Above the spot they agree within the first, below it they differ by more than the second, of 255 levels. Two codings
#: of one picture differ by up to 3.5 (135 photos).
_AGREES_LEVELS, _DIFFERS_LEVELS = 5.0, 8.0
#: The difference begins at once: the first band has this share of it, and of those below so many have it.
_AT_ONCE, _MOSTLY = 0.5, 0.8
_LEAST_BANDS = 2
#: Of the photo so many rows and columns are looked at for each of the small copy.
_SAMPLES = 4
_SAME_SHAPE = 0.03
_EXIF_START = b"Exif\x00\x00"


def differs_below(rgb: NDArray[np.uint8], small: NDArray[np.uint8]) -> bool:
    """Whether a photo agrees with the small copy in its file down to some line only.

    rgb: (rows, columns, 3), as it lies in the file. False where the small copy is of another shape.
    """
    if min(small.shape[0], rgb.shape[0]) < 2 * _BANDS:
        return False
    shape = rgb.shape[1] / rgb.shape[0]
    if abs(small.shape[1] / small.shape[0] / shape - 1) > _SAME_SHAPE:
        return False
    sizes = np.array([np.abs(band).max() for band in _differences(rgb, small)])
    first = int(np.argmax(sizes > _DIFFERS_LEVELS)) if (sizes > _DIFFERS_LEVELS).any() else _BANDS
    above, below = sizes[: max(0, first - 1)], sizes[first:]
    if len(above) < _LEAST_BANDS or len(below) < _LEAST_BANDS or above.max() > _AGREES_LEVELS:
        return False
    is_mostly = (below > _DIFFERS_LEVELS).mean() >= _MOSTLY
    return bool(is_mostly and max(below[0], below[1]) >= _AT_ONCE * np.median(below))


def _differences(rgb: NDArray[np.uint8], small: NDArray[np.uint8]) -> Iterator[NDArray[np.float64]]:
    """For each band the median difference of the colours, over its columns."""
    step = max(1, rgb.shape[0] // small.shape[0] // _SAMPLES)
    size = (small.shape[1], small.shape[0])
    reduced = cv2.resize(rgb[::step, ::step], size, interpolation=cv2.INTER_AREA).astype(np.float64)
    away = reduced - small
    for band in range(_BANDS):
        yield np.median(away[_share(small.shape[0], band)].mean(axis=0), axis=0)


def _share(length: int, band: int) -> slice:
    return slice(length * band // _BANDS, max(length * (band + 1) // _BANDS, length * band // _BANDS + 1))


def thumbnail(image: Image.Image) -> NDArray[np.uint8] | None:
    """The JPEG in the second directory of the file's EXIF (CIPA DC-008); None where there is none that can be read."""
    try:
        exif = image.getexif().get_ifd(ExifTags.IFD.IFD1)
        start, length = int(exif[ExifTags.Base.JpegIFOffset]), int(exif[ExifTags.Base.JpegIFByteCount])
        held = bytes(image.info["exif"]).removeprefix(_EXIF_START)
        return np.asarray(simplejpeg.decode_jpeg(held[start : start + length], "RGB"), np.uint8)
    except Exception:  # anything may come out of damaged tags
        return None
