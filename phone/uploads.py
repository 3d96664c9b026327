"""Photos as phones send them: taken in piece by piece, checked by content, kept once under their hash."""

import os
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from shutil import disk_usage

from farm.store import Farm, fresh_name, now, on_farm_clock, sane_moment
from farm.store.errors import SpawnrunError

#: Where the photos of phones lie in the farm's folder. No vessel's id begins with an underscore, so neither this name
#: nor a file's (a hash) is ever taken for one.
FOLDER = Path("photos", "_from_phones")
#: The largest photo that is taken in, bytes: a phone's largest JPEG of 200 megapixels has about 60 MB.
LARGEST_PHOTO = 80_000_000
#: So much of the disk stays free, bytes.
_LEFT_FREE = 1_000_000_000
_HASH = re.compile(r"[0-9a-f]{64}")
#: What a file of each kind begins with: offset, bytes, suffix.
_STARTS = (
    (0, b"\xff\xd8\xff", ".jpg"),
    (0, b"\x89PNG\r\n\x1a\n", ".png"),
    (8, b"WEBP", ".webp"),
    (0, b"II*\x00", ".tif"),
    (0, b"MM\x00*", ".tif"),
)
_HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_HEAD_BYTES = 16
#: A phone that says that a file is older has lost its clock.
_FIRST_YEAR = 2000


class RefusedPhotoError(SpawnrunError):
    """A photo is not taken in. status: of the answer; key: of the words on the screen."""

    def __init__(self, status: int, key: str) -> None:
        super().__init__(key)
        self.status = status
        self.key = key


@dataclass(frozen=True)
class TakenIn:
    """A photo that is in the farm's folder. path: where it lies."""

    photo_hash: str
    path: Path


def is_hash(text: str) -> bool:
    """Whether this is a SHA-256 in hexadecimal, lower case."""
    return _HASH.fullmatch(text) is not None


def kept_photo(farm: Farm, photo_hash: str) -> Path | None:
    """Where a photo of this hash lies that a phone sent; None where there is none."""
    return next((farm.folder / FOLDER).glob(f"*/{photo_hash}.*"), None) if is_hash(photo_hash) else None


def kept_photos(farm: Farm) -> dict[str, Path]:
    """All photos that phones sent, by hash, in the order in which they came."""
    found = [path for path in (farm.folder / FOLDER).glob("*/*") if is_hash(path.stem)]
    return {path.stem: path for path in sorted(found, key=lambda one: (one.parent.name, one.stat().st_ctime_ns))}


async def take_in(
    farm: Farm, photo_hash: str, pieces: AsyncIterator[bytes], *, announced: int | None, taken_ms: str = ""
) -> TakenIn:
    """Keep what comes in pieces as the photo of this hash. Raises RefusedPhotoError, and then keeps nothing.

    announced: bytes to come, if that is known. taken_ms: when the phone says the file was made, ms since 1970; used
    where the picture itself does not tell.
    """
    if announced is not None and announced > LARGEST_PHOTO:
        raise RefusedPhotoError(413, "too_large")
    folder = farm.folder / FOLDER / f"_{on_farm_clock(farm.now, farm.zone):%Y-%m-%d}"
    folder.mkdir(parents=True, exist_ok=True)
    if disk_usage(folder).free < _LEFT_FREE + LARGEST_PHOTO:
        raise RefusedPhotoError(507, "disk_full")
    part = fresh_name(folder / photo_hash)
    try:
        head = await _written(part, photo_hash, pieces)
        target = folder / f"{photo_hash}{_suffix(head)}"
        moment = _moment(taken_ms)
        os.utime(part, (moment, moment))
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return TakenIn(photo_hash, target)


async def _written(part: Path, photo_hash: str, pieces: AsyncIterator[bytes]) -> bytes:
    """Write the pieces to a file; its first bytes. Raises RefusedPhotoError where the content is another."""
    digest, size, head = sha256(), 0, b""
    # Small pieces to the system's own cache: no reason for a thread each.
    with part.open("xb") as file:
        async for piece in pieces:
            size += len(piece)
            if size > LARGEST_PHOTO:
                raise RefusedPhotoError(413, "too_large")
            if len(head) < _HEAD_BYTES:
                head += piece[: _HEAD_BYTES - len(head)]
                if len(head) == _HEAD_BYTES:
                    _suffix(head)
            digest.update(piece)
            file.write(piece)
    if digest.hexdigest() != photo_hash:
        raise RefusedPhotoError(422, "cut_short")
    return head


def _suffix(head: bytes) -> str:
    """The suffix of a picture file that begins so. Raises RefusedPhotoError for what is no picture."""
    if head[4:8] == b"ftyp" and head[8:12] in _HEIC_BRANDS:
        return ".heic"
    for offset, start, suffix in _STARTS:
        if head[offset:].startswith(start):
            return suffix
    raise RefusedPhotoError(415, "no_picture")


def _moment(taken_ms: str) -> float:
    """Seconds since 1970; now where the phone says nothing that can be true."""
    present = now()
    if taken_ms.isascii() and taken_ms.isdecimal() and len(taken_ms) < 15:
        try:
            said = sane_moment(datetime.fromtimestamp(int(taken_ms) / 1000, UTC))
        except (ValueError, OverflowError):
            return present.timestamp()
        return min(said, present).timestamp() if said.year >= _FIRST_YEAR else present.timestamp()
    return present.timestamp()


def clear_parts(farm: Farm) -> None:
    """Remove what a server that was killed had of photos that were not there in full."""
    for part in (farm.folder / FOLDER).glob("*/.*"):
        part.unlink(missing_ok=True)
