"""Valid small pictures to start from: each format and colour mode, with EXIF as phones write it."""

import io
import struct
from collections.abc import Callable

import numpy as np
from PIL import Image

from tests.vision.drawn import bag_photo

_SHOWN = (300, 240)


def whole_pictures() -> dict[str, tuple[str, bytes]]:
    """File suffix and content of each picture, by name. HEIC is left out if it cannot be written here."""
    photo = Image.fromarray(bag_photo("B9", 0.5)).resize(_SHOWN)
    small = photo.resize((90, 70))
    deep = Image.fromarray(np.asarray(small.convert("L")).astype(np.uint16) * 257)
    clear = small.convert("RGBA")
    clear.putalpha(128)
    wanted: dict[str, tuple[str, Callable[[], bytes]]] = {
        "jpeg": ("jpg", lambda: _saved(photo, "JPEG", quality=85, exif=_exif())),
        "jpeg progressive": ("jpeg", lambda: _saved(photo, "JPEG", progressive=True, exif=_exif())),
        "jpeg cmyk": ("jpg", lambda: _saved(photo.convert("CMYK"), "JPEG")),
        "jpeg grey": ("jpg", lambda: _saved(small.convert("L"), "JPEG")),
        "png": ("png", lambda: _saved(photo, "PNG")),
        "png palette": ("png", lambda: _saved(photo.convert("P"), "PNG", transparency=3)),
        "png alpha": ("png", lambda: _saved(clear, "PNG", exif=_exif())),
        "png deep": ("png", lambda: _saved(deep, "PNG")),
        "png animated": ("png", lambda: _saved(small, "PNG", save_all=True, append_images=[small.rotate(90)])),
        "tiff": ("tif", lambda: _saved(photo, "TIFF", exif=_exif())),
        "tiff lzw": ("tiff", lambda: _saved(photo, "TIFF", compression="tiff_lzw")),
        "tiff jpeg": ("tiff", lambda: _saved(photo, "TIFF", compression="jpeg")),
        "tiff deep": ("tiff", lambda: _saved(deep, "TIFF")),
        "webp": ("webp", lambda: _saved(photo, "WEBP", exif=_exif())),
        "webp lossless": ("webp", lambda: _saved(clear, "WEBP", lossless=True)),
        "webp animated": ("webp", lambda: _saved(small, "WEBP", save_all=True, append_images=[small.rotate(90)])),
        "heic": ("heic", lambda: _heic(photo)),
        "heic burst": ("heic", lambda: _heic(photo, small, small.rotate(90))),
        "gif": ("jpg", lambda: _saved(small.convert("P"), "GIF")),
        "bmp": ("png", lambda: _saved(small, "BMP")),
    }
    made = {name: (ending, make()) for name, (ending, make) in wanted.items()}
    return {name: (ending, content) for name, (ending, content) in made.items() if content}


def _saved(image: Image.Image, kind: str, **how: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **how)
    return buffer.getvalue()


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", "Phone", 6
    detail = exif.get_ifd(0x8769)
    detail[0x9003], detail[0x9011], detail[0xA405] = "2026:03:09 13:00:05", "+02:00", 26
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (48.0, 12.0, 34.5)
    return exif


def _heic(first: Image.Image, *others: Image.Image) -> bytes:
    try:
        import pillow_heif
    except ImportError:
        return b""
    buffer = io.BytesIO()
    held = pillow_heif.from_pillow(first)
    for other in others:
        held.add_from_pillow(other)
    held.save(buffer, quality=60)
    return buffer.getvalue()


def promises(kind: str, width: int, height: int) -> bytes:
    """A file of a few bytes whose header claims a huge number of pixels, like a decompression bomb."""
    if kind == "bmp":
        return (
            b"BM"
            + struct.pack("<IHHIIiiHHIIiiII", 1000, 0, 0, 54, 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
            + b"\0" * 900
        )
    small = Image.new("RGB", (16, 16), (90, 60, 40))
    content = bytearray(_saved(small, {"jpg": "JPEG", "png": "PNG", "tif": "TIFF", "webp": "WEBP"}[kind]))
    if kind == "jpg":
        at = content.index(b"\xff\xc0")
        content[at + 5 : at + 9] = struct.pack(">HH", height, width)
    elif kind == "png":
        import zlib

        content[16:24] = struct.pack(">II", width, height)
        content[29:33] = struct.pack(">I", zlib.crc32(content[12:29]))
    elif kind == "tif":
        (start,) = struct.unpack_from("<I", content, 4)
        for entry in range(struct.unpack_from("<H", content, start)[0]):
            at = start + 2 + 12 * entry
            tag = struct.unpack_from("<H", content, at)[0]
            if tag in (256, 257):
                content[at + 2 : at + 12] = struct.pack("<HII", 4, 1, width if tag == 256 else height)
    else:
        at = content.index(b"VP8 ") + 14
        content[at : at + 4] = struct.pack("<HH", min(width, 16383), min(height, 16383))
    return bytes(content)
