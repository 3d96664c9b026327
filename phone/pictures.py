"""The pictures of the pages: kept faces and parts of them, asked for by the hash of their photo and nothing else."""

import re
from collections import OrderedDict
from threading import BoundedSemaphore, Lock

from farm.pictures import crop_jpeg, damaged_face_jpeg, ringed_jpeg, small_face_jpeg
from farm.records import face_file
from farm.store import Farm
from farm.store.errors import DamagedFaceError

_KEY = r"([0-9a-f]{64})-([0-9]{1,4})"
_BOX = r"(-?[0-9]{1,5}),(-?[0-9]{1,5}),([0-9]{1,5}),([0-9]{1,5})"
_SMALL = re.compile(rf"small/{_KEY}\.jpg", re.ASCII)
_PART = re.compile(rf"(spot|ring)/{_KEY}/{_BOX}\.jpg", re.ASCII)
_SMALL_PX = 220
_MOST_KEPT_BYTES = 24_000_000
#: A face is decoded whole for a crop: so many at once, to bound memory and leave the processor to others.
_AT_ONCE = 2


class Pictures:
    """The pictures of one farm; what was asked for lately is kept in memory."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._size = 0
        self._lock = Lock()
        self._slots = BoundedSemaphore(_AT_ONCE)

    def jpeg(self, path: str) -> bytes | None:
        """The picture of a path such as "small/HASH-0.jpg"; None for any other path, and where no face is kept."""
        with self._lock:
            if path in self._kept:
                self._kept.move_to_end(path)
                return self._kept[path]
        with self._slots:
            try:
                made = self._make(path)
            except DamagedFaceError:
                return damaged_face_jpeg()
        if made is not None:
            self._keep(path, made)
        return made

    def _make(self, path: str) -> bytes | None:
        if (match := _SMALL.fullmatch(path)) is not None:
            return small_face_jpeg(face_file(self._farm, match[1], int(match[2])), _SMALL_PX)
        if (match := _PART.fullmatch(path)) is None:
            return None
        left, top, width, height = (int(match[n]) for n in (4, 5, 6, 7))
        make = crop_jpeg if match[1] == "spot" else ringed_jpeg
        return make(self._farm, match[2], int(match[3]), (left, top, width, height))

    def _keep(self, path: str, made: bytes) -> None:
        with self._lock:
            if path not in self._kept:
                self._kept[path] = made
                self._size += len(made)
            while self._size > _MOST_KEPT_BYTES:
                self._size -= len(self._kept.popitem(last=False)[1])
