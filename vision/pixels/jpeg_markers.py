"""The marker segments that stand before the first scan of a JPEG (ITU-T T.81, annex B)."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

DEFINES_TABLES, START_OF_SCAN, ADOBE = 0xDB, 0xDA, 0xEE
_FILL = 0xFF
_WITHOUT_LENGTH = (0x01, 0xD8, *range(0xD0, 0xD8))


@dataclass(frozen=True)
class Segment:
    """One marker segment. part: what it holds, without its length; begins, ends: where that stands in the file."""

    marker: int
    part: bytes
    begins: int
    ends: int


def segments(content: bytes) -> Iterator[Segment]:
    """The segments in order, the head of the first scan last; they end early where a marker is missing."""
    at = 2
    while at + 4 <= len(content) and content[at] == _FILL:
        marker = content[at + 1]
        if marker in (_FILL, *_WITHOUT_LENGTH):
            at += 1 if marker == _FILL else 2
            continue
        (length,) = struct.unpack_from(">H", content, at + 2)
        yield Segment(marker, content[at + 4 : at + 2 + length], at + 4, at + 2 + length)
        if marker == START_OF_SCAN:
            return
        at += 2 + length
