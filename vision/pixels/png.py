"""The checksums of a PNG file, which Pillow does not compare for the pixels."""

import struct
import zlib

from vision.pixels.picture import PictureError

SIGNATURE = b"\x89PNG\r\n\x1a\n"


def check_png(content: bytes) -> None:
    """Raises PictureError where a chunk up to the end mark is damaged or cut short (PNG, 3rd edition, 5.3)."""
    at = len(SIGNATURE)
    while at + 12 <= len(content):
        length, name = struct.unpack_from(">I4s", content, at)
        if at + 12 + length > len(content):
            break
        (written,) = struct.unpack_from(">I", content, at + 8 + length)
        if zlib.crc32(memoryview(content)[at + 4 : at + 8 + length]) != written:
            raise PictureError("damaged: a checksum in the file is wrong; copy the file again from the camera")
        if name == b"IEND":
            return
        at += 12 + length
    raise PictureError("the file is cut short")
