"""Load a picture file as an upright RGB array, with the time it was taken."""

import io
import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from vision.pixels.apart import load_apart
from vision.pixels.block_levels import has_impossible_level
from vision.pixels.exif import camera, taken_at, upright
from vision.pixels.jpeg import block_size, check_cmyk, check_steps, decode_jpeg
from vision.pixels.picture import (
    MAX_PIXELS_JPEG,
    MAX_PIXELS_OTHER,
    Picture,
    PictureError,
    advice,
    check_file_size,
    reduction,
)
from vision.pixels.pillow_rgb import rgb_of
from vision.pixels.png import SIGNATURE, check_png
from vision.pixels.row_steps import has_row_step
from vision.pixels.thumbnail import differs_below, thumbnail

Image.MAX_IMAGE_PIXELS = MAX_PIXELS_JPEG  # Pillow's own limit would refuse photos of 200 megapixels
Image.init()  # formats can only be opened by name once they are loaded

#: File name suffixes of pictures that can be read.
PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".tif", ".tiff")
_JPEG_START = b"\xff\xd8\xff"
_UNLIKE = (
    "damaged: from some line on it differs from the small copy in its file; copy the file again from the camera, or"
    " take the photo again"
)
_STEPPED = (
    "damaged: from one block on, all that follows is brighter, darker or of another colour; copy the file again from"
    " the camera, or take the photo again"
)
_IMPOSSIBLE = (
    "damaged: some of it is lighter than white, darker than black or of more than full colour; copy the file again from"
    " the camera, or take the photo again"
)
#: What a decoder may raise on a damaged file, beside errors of its own.
_FAULTS = (OSError, SyntaxError, ValueError, EOFError, MemoryError, OverflowError, ZeroDivisionError, struct.error,
           zlib.error)  # fmt: skip


def load_picture(source: Path | bytes) -> Picture:
    """Read a JPEG, PNG, WebP, HEIC or TIFF file, or its content.

    Raises PictureError, with the reason, for anything that is not a complete picture in one of these formats. Formats
    whose decoders can crash are decoded in a process of their own; a crash costs only this picture.
    """
    content = read_photo(source) if isinstance(source, Path) else source
    check_file_size(len(content))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # broken tags and large pictures are handled below
            if content.startswith(_JPEG_START):
                return _jpeg(content)
            if content.startswith(SIGNATURE):
                return _png(content)
            return load_apart(content)
    except UnidentifiedImageError:
        raise PictureError("not a picture that can be read") from None
    except Image.DecompressionBombError:
        most_pixels = MAX_PIXELS_JPEG if content.startswith(_JPEG_START) else MAX_PIXELS_OTHER
        raise PictureError(f"too large: {advice(most_pixels)}") from None
    except PictureError:
        raise
    except _FAULTS as error:
        raise PictureError(fault_words(error)) from None
    except Exception as error:  # decoders raise anything on damaged files; none may end a batch
        raise PictureError(f"damaged: {type(error).__name__}") from None


def read_photo(source: Path) -> bytes:
    """The content of a photo's file. Raises PictureError where it cannot be one."""
    try:
        if not source.is_file():
            raise PictureError("not a file")
        check_file_size(source.stat().st_size)
        return source.read_bytes()
    except PermissionError:
        raise PictureError("no permission to read the file") from None
    except OSError as error:
        raise PictureError(f"cannot be read: {error.strerror or error}") from None


def fault_words(error: BaseException) -> str:
    """Why a file is refused, from what a decoder raised."""
    text = str(error).lower()
    if "truncated" in text or "unexpected end" in text or "broken data" in text or "not processed" in text:
        return "the file is cut short"
    return f"damaged: {type(error).__name__}"


def _jpeg(content: bytes) -> Picture:
    with Image.open(io.BytesIO(content), formats=("JPEG",)) as image:
        reduced = reduction(image.width, image.height, MAX_PIXELS_JPEG)
        when, (name, focal_35mm) = taken_at(image), camera(image)
        flags = ("reduced",) * (reduced > 1)
        check_steps(getattr(image, "quantization", {}))
        if image.mode in ("RGB", "L"):
            lying = decode_jpeg(content, image.height, reduced)
            _check_levels(lying, image, content, reduced)
            rgb = upright(lying, image)
        else:
            reduced = reduction(image.width, image.height, MAX_PIXELS_OTHER)
            check_cmyk(content)
            rgb = rgb_of(image, reduced)
    return Picture(rgb, when, name, focal_35mm, reduced, flags)


def _check_levels(rgb: NDArray[np.uint8], image: Image.Image, content: bytes, reduced: int) -> None:
    """Raises PictureError where the small copy in the file, or the picture itself, shows damage."""
    small = thumbnail(image)
    if small is not None and differs_below(rgb, small):
        raise PictureError(_UNLIKE)
    block = block_size(content)
    if block is None:
        return
    if has_row_step(rgb, block[0] // reduced, block[1] // reduced):
        raise PictureError(_STEPPED)
    if has_impossible_level(content, image.height, block):
        raise PictureError(_IMPOSSIBLE)


def _png(content: bytes) -> Picture:
    with Image.open(io.BytesIO(content), formats=("PNG",)) as image:
        reduced = reduction(image.width, image.height, MAX_PIXELS_OTHER)
        check_png(content)
        when, (name, focal_35mm) = taken_at(image), camera(image)
        return Picture(rgb_of(image, reduced), when, name, focal_35mm, reduced, ("reduced",) * (reduced > 1))
