"""Where the coded pictures of a HEIC file lie, and what their decoder must be told first.

Boxes are those of ISO/IEC 14496-12 and 23008-12: `pitm` names the picture, `iloc` where items lie, `iref` of which
tiles a grid is made, `iprp` what belongs to each item.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

#: An item of this type is coded in HEVC.
_HEVC = b"hvc1"
#: Pictures that are made of others: a grid of tiles, an overlay, a turned copy.
_MADE_OF_OTHERS = (b"grid", b"iovl", b"iden")
_MOST_ITEMS = 10_000


@dataclass(frozen=True)
class CodedPicture:
    """units: parameter sets, then the picture's own NAL units, without length or start code."""

    units: tuple[bytes, ...]


def coded_pictures(content: bytes) -> tuple[CodedPicture, ...]:
    """The coded pictures that the file's primary picture is made of, with their parameter sets.

    Raises ValueError, KeyError, IndexError or struct.error for boxes that cannot be followed.
    """
    meta = next(body for kind, body in _boxes(content) if kind == b"meta")[4:]
    boxes = dict(_boxes(meta))
    types = _item_types(boxes[b"iinf"])
    made_of = _made_of(boxes.get(b"iref", b""))
    properties = dict(_boxes(boxes[b"iprp"]))
    configurations = _configurations(properties)
    found = []
    for item in _hevc_items(_primary(boxes[b"pitm"]), types, made_of):
        coded = _item_content(content, boxes, item)
        configuration = configurations[item]
        found.append(CodedPicture((*_parameter_sets(configuration), *_units(coded, (configuration[21] & 3) + 1))))
    if not found:
        raise ValueError("no picture coded in HEVC")
    return tuple(found)


def _boxes(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at + 8 <= len(content):
        size, kind = struct.unpack_from(">I4s", content, at)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", content, at + 8)
            head = 16
        end = len(content) if size == 0 else at + size
        if end < at + head:
            raise ValueError("a box of no size")
        yield kind, content[at + head : end]
        at = end


def _primary(body: bytes) -> int:
    return int.from_bytes(body[4:6] if body[0] == 0 else body[4:8], "big")


def _item_types(body: bytes) -> dict[int, bytes]:
    types = {}
    for kind, info in _boxes(body[6:] if body[0] == 0 else body[8:]):
        if kind == b"infe" and info[0] >= 2:
            width = 2 if info[0] == 2 else 4
            types[int.from_bytes(info[4 : 4 + width], "big")] = info[6 + width : 10 + width]
    return types


def _made_of(body: bytes) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    if not body:
        return found
    width = 2 if body[0] == 0 else 4
    for kind, reference in _boxes(body[4:]):
        if kind == b"dimg":
            (count,) = struct.unpack_from(">H", reference, width)
            ids = reference[width + 2 : width + 2 + count * width]
            found[int.from_bytes(reference[:width], "big")] = [
                int.from_bytes(ids[at : at + width], "big") for at in range(0, len(ids), width)
            ]
    return found


def _hevc_items(primary: int, types: dict[int, bytes], made_of: dict[int, list[int]]) -> list[int]:
    """The items in HEVC that the primary one is or is made of."""
    waiting, found = [primary], []
    seen: set[int] = set()
    while waiting and len(seen) < _MOST_ITEMS:
        item = waiting.pop()
        if item in seen:
            continue
        seen.add(item)
        if types[item] == _HEVC:
            found.append(item)
        elif types[item] in _MADE_OF_OTHERS:
            waiting += made_of.get(item, [])
    return sorted(found)


def _configurations(properties: dict[bytes, bytes]) -> dict[int, bytes]:
    """The HEVC decoder configuration (ISO/IEC 14496-15) of each item that has one."""
    kept = [body if kind == b"hvcC" else None for kind, body in _boxes(properties[b"ipco"])]
    body = properties[b"ipma"]
    is_long, is_wide = body[0] > 0, bool(body[3] & 1)
    (count,) = struct.unpack_from(">I", body, 4)
    at, found = 8, {}
    for _ in range(min(count, _MOST_ITEMS)):
        width = 4 if is_long else 2
        item, n_properties = int.from_bytes(body[at : at + width], "big"), body[at + width]
        at += width + 1
        for _ in range(n_properties):
            number = struct.unpack_from(">H", body, at)[0] & 0x7FFF if is_wide else body[at] & 0x7F
            at += 2 if is_wide else 1
            if 0 < number <= len(kept) and (configuration := kept[number - 1]) is not None:
                found[item] = configuration
    return found


def _item_content(content: bytes, boxes: dict[bytes, bytes], wanted: int) -> bytes:
    """The bytes of an item, in all its extents."""
    body = boxes[b"iloc"]
    version, sizes = body[0], body[4:6]
    offset_size, length_size, base_size = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
    index_size = sizes[1] & 15 if version > 0 else 0
    width = 4 if version == 2 else 2
    at = 6

    def number(size: int) -> int:
        nonlocal at
        at += size
        return int.from_bytes(body[at - size : at], "big")

    for _ in range(min(number(width), _MOST_ITEMS)):
        item = number(width)
        place = number(2) & 15 if version > 0 else 0
        number(2)  # which file: this one
        base = number(base_size)
        pieces = []
        for _ in range(min(number(2), _MOST_ITEMS)):
            number(index_size)
            start, length = base + number(offset_size), number(length_size)
            pieces.append((start, length))
        if item == wanted:
            source = boxes[b"idat"] if place == 1 else content
            return b"".join(source[start : start + length] for start, length in pieces)
    raise KeyError(wanted)


def _parameter_sets(configuration: bytes) -> Iterator[bytes]:
    at = 23
    for _ in range(configuration[22]):
        (count,) = struct.unpack_from(">H", configuration, at + 1)
        at += 3
        for _ in range(count):
            (length,) = struct.unpack_from(">H", configuration, at)
            yield configuration[at + 2 : at + 2 + length]
            at += 2 + length


def _units(coded: bytes, length_size: int) -> Iterator[bytes]:
    at = 0
    while at + length_size <= len(coded):
        length = int.from_bytes(coded[at : at + length_size], "big")
        if at + length_size + length > len(coded):
            raise ValueError("a unit is cut short")
        yield coded[at + length_size : at + length_size + length]
        at += length_size + length
