"""What the HEVC decoder finds wrong with a HEIC file.

HEIC has no checksums, and the library that reads it does not pass on what its decoder (libde265) warns of: a damaged
file gives other pixels and no error. So the decoder, which comes with that library, is asked itself.
"""

import ctypes
import struct
from collections.abc import Iterator
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, files

import numpy as np
from numpy.typing import NDArray

from vision.pixels.heif_boxes import CodedPicture, coded_pictures

#: The decoder asks for more input at the end: that is no fault.
_WAITING_FOR_INPUT = 13
_OK = 0
#: Warnings that say nothing of the pixels, as de265.h numbers them: of threads, and of notes beside the picture (SEI).
_HARMLESS = (1000, 1022, 1025)
_MOST_ROUNDS = 100_000
#: Of a picture's colours every so many samples are looked at; up to so many may be 0 by chance.
_EVERY, _FEW = 2, 4


class UncheckedError(Exception):
    """The decoder cannot be asked here."""


def hevc_warnings(content: bytes) -> tuple[str, ...]:
    """What the decoder says of the coded pictures in a HEIC file, in its words; () where all is well.

    Raises UncheckedError where the decoder is not found or the file's boxes cannot be followed.
    """
    library = _library()
    try:
        pictures = coded_pictures(content)
    except (ValueError, KeyError, IndexError, StopIteration, struct.error) as error:
        raise UncheckedError(str(error)) from None
    return tuple(dict.fromkeys(words for picture in pictures for words in _said_of(library, picture)))


@lru_cache(maxsize=1)
def _library() -> ctypes.CDLL:
    try:
        places = [one.locate() for one in files("pi-heif") or () if "de265" in one.name]
        library = ctypes.CDLL(str(places[0]))
    except (PackageNotFoundError, IndexError, OSError):
        raise UncheckedError("the decoder's library is not found") from None
    library.de265_new_decoder.restype = ctypes.c_void_p
    library.de265_push_NAL.argtypes = [
        ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.c_int64, ctypes.c_void_p,
    ]  # fmt: skip
    library.de265_decode.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_int)]
    library.de265_get_next_picture.argtypes = [ctypes.c_void_p]
    library.de265_get_next_picture.restype = ctypes.c_void_p
    library.de265_get_image_plane.argtypes = [ctypes.c_void_p, ctypes.c_int, ctypes.POINTER(ctypes.c_int)]
    library.de265_get_image_plane.restype = ctypes.c_void_p
    for name in ("image_width", "image_height", "bits_per_pixel"):
        getattr(library, f"de265_get_{name}").argtypes = [ctypes.c_void_p, ctypes.c_int]
    library.de265_get_error_text.restype = ctypes.c_char_p
    for name in ("flush_data", "get_warning", "free_decoder"):
        getattr(library, f"de265_{name}").argtypes = [ctypes.c_void_p]
    return library


def _said_of(library: ctypes.CDLL, picture: CodedPicture) -> Iterator[str]:
    decoder = library.de265_new_decoder()
    if not decoder:
        raise UncheckedError("the decoder cannot be started")
    try:
        for unit in picture.units:
            library.de265_push_NAL(decoder, unit, len(unit), 0, None)
        library.de265_flush_data(decoder)
        is_more, error, n_pictures = ctypes.c_int(1), _OK, 0
        for _ in range(_MOST_ROUNDS):
            error = library.de265_decode(decoder, ctypes.byref(is_more))
            while picture_made := library.de265_get_next_picture(decoder):
                n_pictures += 1
                if _is_partly_empty(library, picture_made):
                    yield "a part of the picture is missing"
            if error != _OK or not is_more.value:
                break
        if error not in (_OK, _WAITING_FOR_INPUT):
            yield _words(library, error)
        yield from (_words(library, code) for code in _warnings(library, decoder) if code not in _HARMLESS)
        if n_pictures == 0:
            yield "no picture"
    finally:
        library.de265_free_decoder(decoder)


def _warnings(library: ctypes.CDLL, decoder: int) -> Iterator[int]:
    while warning := library.de265_get_warning(decoder):
        yield int(warning)


def _is_partly_empty(library: ctypes.CDLL, picture: int) -> bool:
    """Whether a part was never decoded: it is 0 in both colours, which no light has (ITU-R BT.601, BT.709)."""
    colours = [_plane(library, picture, channel) for channel in (1, 2)]
    if any(one is None for one in colours):  # greys only
        return False
    blue, red = (one[::_EVERY, ::_EVERY] for one in colours if one is not None)
    return int(np.count_nonzero((blue == 0) & (red == 0))) > _FEW


def _plane(library: ctypes.CDLL, picture: int, channel: int) -> NDArray[np.integer] | None:
    width = library.de265_get_image_width(picture, channel)
    height = library.de265_get_image_height(picture, channel)
    stride = ctypes.c_int()
    start = library.de265_get_image_plane(picture, channel, ctypes.byref(stride))
    if not start or width <= 0 or height <= 0:
        return None
    kind = np.uint8 if library.de265_get_bits_per_pixel(picture, channel) <= 8 else np.uint16
    content = np.ctypeslib.as_array(ctypes.cast(start, ctypes.POINTER(ctypes.c_uint8)), (stride.value * height,))
    rows = content.reshape(height, stride.value)[:, : width * kind().itemsize]
    return np.ascontiguousarray(rows).view(kind)


def _words(library: ctypes.CDLL, code: int) -> str:
    return str(library.de265_get_error_text(code).decode("ascii", "replace"))
