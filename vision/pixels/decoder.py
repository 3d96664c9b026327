"""The process that decodes HEIC, WebP and TIFF files: content in by standard input, pixels out by standard output.

`vision.pixels.apart` starts it. It ends when its input closes, or when a picture takes too long, so that it does not
outlive the process that asks.
"""

import faulthandler
import io
import json
import os
import signal
import struct
import sys
import tempfile
import warnings
from contextlib import suppress
from typing import IO, Any

import pi_heif
from PIL import Image, UnidentifiedImageError

from vision.pixels.apart import read_exactly
from vision.pixels.exif import camera, taken_at
from vision.pixels.hevc import UncheckedError, hevc_warnings
from vision.pixels.load import fault_words
from vision.pixels.picture import MAX_PIXELS_OTHER, PictureError, reduction
from vision.pixels.pillow_rgb import rgb_of

pi_heif.register_heif_opener()
Image.MAX_IMAGE_PIXELS = None  # judged below
Image.init()

_FORMATS = ("WEBP", "HEIF", "TIFF")
#: What decoding may take, where the system can hold a process to it; the largest picture allowed needs less.
_MOST_MEMORY_BYTES = 1_300_000_000
_LONGEST_WORDS = 120
#: A little longer than the process that asks waits before it ends this one: for when that is not there any more.
_MOST_SECONDS = 130.0


def main() -> None:
    """Answer until the input closes."""
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asks
    _bound_memory()
    # Decoders print to standard error; nobody would know of which file. What they say goes into the answer.
    said = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the process runs
    os.dup2(said.fileno(), 2)
    source, target = sys.stdin.buffer, sys.stdout.buffer
    while True:
        try:
            (length,) = struct.unpack(">Q", read_exactly(source, 8))
            content = read_exactly(source, length)
        except EOFError:
            return
        said.seek(0)
        said.truncate()
        # By a thread that needs no lock of the interpreter's: a decoder in an endless loop may hold it.
        faulthandler.dump_traceback_later(_MOST_SECONDS, exit=True, file=said.fileno())
        with suppress(BrokenPipeError):
            _answer(target, content, said)
        faulthandler.cancel_dump_traceback_later()


def _answer(target: IO[bytes], content: bytes, said: IO[bytes]) -> None:
    pixels: bytes | memoryview = b""
    try:
        facts, pixels = _decoded(content)
        said.seek(0)
        if words := _printed(said.read()):
            facts, pixels = {"reason": f"damaged: the decoder reports '{words}'"}, b""
    except UnidentifiedImageError:
        facts = {"reason": "not a picture that can be read"}
    except PictureError as error:
        facts = {"reason": str(error)}
    except MemoryError:
        facts = {"reason": "too large, or damaged: decoding it takes too much memory; save it as a JPEG"}
    except Exception as error:
        facts = {"reason": fault_words(error)}
    header = json.dumps(facts).encode()
    target.write(struct.pack(">I", len(header)) + header)
    target.write(pixels)
    target.flush()


def _decoded(content: bytes) -> tuple[dict[str, Any], bytes | memoryview]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(io.BytesIO(content), formats=_FORMATS) as image:
            reduced = reduction(image.width, image.height, MAX_PIXELS_OTHER)
            flags = _checked(content, str(image.format)) + ("reduced",) * (reduced > 1)
            when, (name, focal_mm) = taken_at(image), camera(image)
            rgb = rgb_of(image, reduced)
    facts = {
        "size": rgb.shape[:2],
        "taken_at": None if when is None else when.isoformat(),
        "camera": name,
        "focal_35mm": focal_mm,
        "reduced": reduced,
        "flags": flags,
    }
    return facts, memoryview(rgb.data).cast("B")


def _checked(content: bytes, kind: str) -> tuple[str, ...]:
    """The flag of a file in which damage cannot be noticed. Raises PictureError for damage in a HEIC file."""
    if kind != "HEIF":
        return ("unchecked_file",)
    try:
        found = hevc_warnings(content)
    except UncheckedError:
        return ("unchecked_file",)
    if found:
        raise PictureError(
            f"damaged: the decoder reports '{found[0]}'; copy the file again from the camera, or take the photo again"
        )
    return ()


def _printed(said: bytes) -> str:
    words = " ".join(said.decode("utf-8", "replace").split())
    return "".join(letter for letter in words if letter.isprintable())[:_LONGEST_WORDS]


def _bound_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows
        return
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_DATA, (_MOST_MEMORY_BYTES, _MOST_MEMORY_BYTES))


if __name__ == "__main__":
    main()
