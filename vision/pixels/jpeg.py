"""The pixels of a JPEG file; a file that the decoder finds fault with is refused, with the decoder's words."""

import re
import struct
from dataclasses import dataclass

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from vision.pixels.jpeg_markers import START_OF_SCAN, segments
from vision.pixels.picture import PictureError

#: Of a file whose parts must all be held until the last one is read (progressive), at most so many bytes are held.
_MOST_HELD_BYTES = 700_000_000
_PROGRESSIVE = (0xC2, 0xC6, 0xCA, 0xCE)
_FRAMES = (0xC0, 0xC1, 0xC3, 0xC5, 0xC7, 0xC9, 0xCB, 0xCD, 0xCF, *_PROGRESSIVE)
_END = b"\xff\xd9"
_BLOCK_PX = 8
#: A step is at most so many times as large, or small, as the median of those beside it. In the photos and
#: encoders at hand it comes to 2.
_MOST_TIMES_BESIDE = 4
_PADDING = re.compile(r"(\d+) extraneous bytes before marker 0xd9")
#: The decoder's words for what is unusual, but no damage.
_HARMLESS = ("unknown JFIF revision", "Invalid SOS parameters")


@dataclass(frozen=True)
class _Header:
    """samples: of all components together. is_held: all of it must be in memory before a row is made.

    block: rows and columns of the picture that are coded together (MCU).
    """

    samples: int
    is_held: bool
    block: tuple[int, int]


def decode_jpeg(content: bytes, height: int, reduced: int) -> NDArray[np.uint8]:
    """Pixels (rows, columns, 3) as they lie in a JPEG file of three colours or of greys.

    height: of the whole picture. reduced: 1, or 2 for half the size. Raises PictureError for a damaged file: where the
    decoder only warns, the pixels from there on are not those of the photo.
    """
    check_memory(content)
    least = 0 if reduced == 1 else height // reduced  # the decoder takes the smallest size that has these rows
    try:
        pixels = simplejpeg.decode_jpeg(content, "RGB", min_height=least)
    except ValueError as error:
        if not _is_harmless(str(error), content):
            raise PictureError(jpeg_fault(str(error))) from None
        pixels = simplejpeg.decode_jpeg(content, "RGB", min_height=least, strict=False)
    return np.asarray(pixels, np.uint8)


def check_cmyk(content: bytes) -> None:
    """Raises PictureError where the decoder finds fault with a JPEG of four inks, whose pixels Pillow makes."""
    check_memory(content)
    try:
        simplejpeg.decode_jpeg(content, "CMYK")
    except ValueError as error:
        if not _is_harmless(str(error), content):
            raise PictureError(jpeg_fault(str(error))) from None


def check_memory(content: bytes) -> None:
    """Raises PictureError for a file that takes too much memory to decode even at a part of its size."""
    header = _header(content)
    if header is not None and header.is_held and 2 * header.samples > _MOST_HELD_BYTES:
        raise PictureError("too large for a progressive JPEG: save it as a baseline JPEG, or make it smaller")


def check_steps(tables: dict[int, list[int]]) -> None:
    """Raises PictureError for steps of quantisation that no encoder writes.

    tables: by number, each 8 rows of 8, the lowest frequency first. A step of 0 is not allowed (ITU-T T.81, B.2.4.1).
    Each is near those of the frequencies beside it, since the eye's sensitivity changes little between them; a changed
    one makes contrasts larger or smaller.
    """
    for steps in tables.values():
        if 0 in steps or (len(steps) == _BLOCK_PX**2 and _stands_out(np.reshape(steps, (_BLOCK_PX, _BLOCK_PX)))):
            raise PictureError(
                "damaged: its steps of quantisation are not those of a photo; copy the file again from the camera, or"
                " take the photo again"
            )


def _stands_out(steps: NDArray[np.int_]) -> bool:
    """Whether a step is far from the median of those beside it."""
    framed = np.pad(steps.astype(float), 1, constant_values=np.nan)
    end = _BLOCK_PX + 2
    beside = [
        framed[down : end - 2 + down, across : end - 2 + across]
        for down in range(3)
        for across in range(3)
        if (down, across) != (1, 1)
    ]
    ordered = np.sort(beside, axis=0)  # what lies outside the table comes last
    n = np.isfinite(ordered).sum(axis=0, keepdims=True)
    middle = [np.take_along_axis(ordered, place, axis=0)[0] for place in ((n - 1) // 2, n // 2)]
    times = 2 * steps / (middle[0] + middle[1])
    return bool(max(times.max(), 1 / times.min()) > _MOST_TIMES_BESIDE)


def block_size(content: bytes) -> tuple[int, int] | None:
    """Rows and columns of the picture that are coded together (MCU); None where the markers cannot be followed."""
    header = _header(content)
    return None if header is None else header.block


def jpeg_fault(said: str) -> str:
    """Why a JPEG is refused, from the decoder's own words."""
    if "remature end of JPEG" in said:
        return "the file is cut short"
    said = re.sub(r"^\w+\(\): ", "", said).removeprefix("Corrupt JPEG data: ")  # without the name of its function
    return f"damaged: the decoder reports '{said}'; copy the file again from the camera, or take the photo again"


def _is_harmless(said: str, content: bytes) -> bool:
    """Whether the decoder's words mean no damage; some cameras fill a file up before its end mark."""
    if any(words in said for words in _HARMLESS):
        return True
    match = _PADDING.search(said)
    if match is None:
        return False
    end = content.rfind(_END)
    return len(set(content[max(0, end - int(match[1])) : end])) == 1


def _header(content: bytes) -> _Header | None:
    """What the markers before the first scan say (ITU-T T.81, annex B); None where they cannot be followed."""
    samples, block, components, is_progressive = 0, (0, 0), 0, False
    for one in segments(content):
        marker, part = one.marker, one.part
        if marker == START_OF_SCAN:
            return _Header(samples, is_progressive or (bool(part) and part[0] < components), block)
        if marker in _FRAMES and len(part) >= 6:
            is_progressive = marker in _PROGRESSIVE
            height, width, components = struct.unpack_from(">HHB", part, 1)
            samples, block = _samples(part, width, height, components), _block(part, components)
    return None


def _factors(frame: bytes, components: int) -> list[tuple[int, int]]:
    """Across and down, how many samples each component has of what is coded together."""
    return [(frame[at] >> 4, frame[at] & 15) for at in range(7, min(len(frame), 6 + 3 * components), 3)]


def _block(frame: bytes, components: int) -> tuple[int, int]:
    factors = _factors(frame, components)
    if len(factors) <= 1:  # a single component is coded block by block, whatever its factors say
        return _BLOCK_PX, _BLOCK_PX
    return _BLOCK_PX * max(down for _, down in factors), _BLOCK_PX * max(across for across, _ in factors)


def _samples(frame: bytes, width: int, height: int, components: int) -> int:
    factors = _factors(frame, components)
    most_across = max((across for across, _ in factors), default=1) or 1
    most_down = max((down for _, down in factors), default=1) or 1
    return sum(width * across // most_across * (height * down // most_down) for across, down in factors)
