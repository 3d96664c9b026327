"""What the next photo of a vessel needs to know of the earlier ones, in files: a cache that may be deleted.

The name of a file contains the key of all photos up to the one after which it was kept, so that a file made from other
photos is never used. One is kept after the last photo; one after every so many (a mark) is for a photo that comes late.
"""

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from farm.measure.series_task import MARK_EVERY, SideRead
from farm.store import replace_file

_DIGEST_SIZE = sha256().digest_size
_MARK = ".mark"


class KeptSeries:
    """The files of one side of a vessel."""

    def __init__(self, farm: Path, vessel: str, side: str) -> None:
        self._folder = farm / "series"
        self._name = f"{sha256(vessel.encode()).hexdigest()[:16]}-{side}-"

    def read(self, key: str) -> bytes | None:
        """What was kept after the last photo; None if it is missing or damaged, and then photos are read again."""
        return _whole(self._folder / f"{self._name}{key}")

    def newest_mark(self, keys: Sequence[str]) -> tuple[int, bytes | None]:
        """The number of photos up to the newest mark, and what was kept there; 0 and None without one.

        keys: of each photo, as in ``series_keys``.
        """
        for n_photos in range(len(keys) // MARK_EVERY * MARK_EVERY, 0, -MARK_EVERY):
            if (kept := _whole(self._mark(keys[n_photos - 1]))) is not None:
                return n_photos, kept
        return 0, None

    def write(self, read: SideRead) -> None:
        """Keep how far a side was read; marks after the first photo that was read again are others now, and go."""
        self._folder.mkdir(exist_ok=True)
        if read.standing is not None:
            for known in self._folder.glob(f"{self._name}*{_MARK}"):
                if known.name.removeprefix(self._name).removesuffix(_MARK) not in read.standing:
                    known.unlink(missing_ok=True)
        for key, kept in read.marks:
            _write(self._mark(key), kept)
        _write(self._folder / f"{self._name}{read.key}", read.kept)

    def forget(self, key: str) -> None:
        """Take away what was kept after a photo that is no longer the last one."""
        (self._folder / f"{self._name}{key}").unlink(missing_ok=True)

    def _mark(self, key: str) -> Path:
        return self._folder / f"{self._name}{key}{_MARK}"


def _write(target: Path, content: bytes) -> None:
    replace_file(target, content + sha256(content).digest())


def _whole(source: Path) -> bytes | None:
    try:
        content = source.read_bytes()
    except OSError:
        return None
    kept, digest = content[:-_DIGEST_SIZE], content[-_DIGEST_SIZE:]
    return kept if kept and sha256(kept).digest() == digest else None
