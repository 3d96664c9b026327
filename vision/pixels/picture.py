"""A picture in memory, what can be wrong with a file, and how large a picture may be."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

#: Longest side that is opened: the QR decoder accepts 65,535, and labels are also searched at twice the size.
MAX_SIDE = 32_767
#: A larger picture is read at half its size. Measuring takes up to 19 bytes a pixel, so this bounds a worker's memory.
MAX_PIXELS_WHOLE = 56_000_000
#: Largest JPEG: decoded straight to half its size, it needs little memory. More than today's largest phone sensors.
MAX_PIXELS_JPEG = 220_000_000
#: Largest picture of another format, which is decoded at its full size.
MAX_PIXELS_OTHER = 80_000_000
#: Largest file that is read.
MAX_FILE_BYTES = 256_000_000


class PictureError(Exception):
    """A file cannot be read as a picture; the message is the reason, for the user."""


@dataclass(frozen=True, eq=False)
class Picture:
    """rgb: uint8 (H, W, 3), upright. taken_at: EXIF time with its offset if the camera wrote one, or None.

    camera: make and model, "" if the file has none. focal_35mm: focal length as 35 mm equivalent, or None. reduced: how
    many pixels of the file, along a side, make one of rgb. flags: quality flags of the file, see vision/flags.py.
    """

    rgb: NDArray[np.uint8]
    taken_at: datetime | None
    camera: str = ""
    focal_35mm: float | None = None
    reduced: int = 1
    flags: tuple[str, ...] = ()


def reduction(width: int, height: int, most_pixels: int) -> int:
    """1 where a picture is read whole, 2 where it is read at half its size. Raises PictureError where it is refused.

    most_pixels: the limit of its format.
    """
    if width * height > most_pixels or max(width, height) > MAX_SIDE:
        raise PictureError(f"too large: {width} x {height} pixels; {advice(most_pixels)}")
    return 2 if width * height > MAX_PIXELS_WHOLE else 1


def advice(most_pixels: int) -> str:
    """What to do with a picture that is larger than the limit of its format allows."""
    as_jpeg = "" if most_pixels == MAX_PIXELS_JPEG else f", or save it as a JPEG of up to {_mega(MAX_PIXELS_JPEG)}"
    return f"at most {_mega(most_pixels)} and {MAX_SIDE} along a side: make it smaller{as_jpeg}"


def check_file_size(size_bytes: int) -> None:
    """Raises PictureError for an empty file or one larger than any photo."""
    if size_bytes == 0:
        raise PictureError("the file is empty")
    if size_bytes > MAX_FILE_BYTES:
        raise PictureError(
            f"too large: a file of {size_bytes / 1e6:,.0f} MB; at most {MAX_FILE_BYTES / 1e6:.0f} MB: save it as a JPEG"
        )


def _mega(pixels: int) -> str:
    return f"{pixels / 1e6:.0f} megapixels"
