"""Watches a folder that photos arrive in, such as a phone's, and yields each photo when its copy is complete."""

import time
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event as Signal

from farm.measure.photos import find_photos
from farm.store.errors import NothingToMeasureError

#: A file that has not changed for this long may be whole, seconds.
_SETTLED_SECONDS = 2.0
#: How long to wait for a picture that seems incomplete, seconds; after that it is measured as it is.
_PATIENCE_SECONDS = 60.0
#: How often a file that is still changing is checked again, milliseconds.
_LOOK_AGAIN_MS = 500

#: Size and time of change of a file: what changes while it is being copied.
_State = tuple[int, int]


@dataclass
class Arrivals:
    """Which files have come and are complete: unchanged for a while, and whole as pictures.

    is_whole: whether an unchanged file can be read to its end.
    """

    is_whole: Callable[[Path], bool]
    settled_seconds: float = _SETTLED_SECONDS
    patience_seconds: float = _PATIENCE_SECONDS
    _seen: dict[Path, tuple[_State, float]] = field(default_factory=dict)
    _taken: dict[Path, _State] = field(default_factory=dict)

    @property
    def is_waiting(self) -> bool:
        """Whether there is a file that was not yet given."""
        return bool(self._seen)

    def complete(self, files: Mapping[Path, _State], now_seconds: float) -> list[Path]:
        """The files that have become complete, by name; each is given once, and again if it changes."""
        fresh = {path: state for path, state in files.items() if self._taken.get(path) != state}
        self._seen = {
            path: known if (known := self._seen.get(path)) is not None and known[0] == state else (state, now_seconds)
            for path, state in fresh.items()
        }
        done = [path for path, (_, since) in self._seen.items() if self._is_complete(path, now_seconds - since)]
        for path in done:
            self._taken[path] = self._seen.pop(path)[0]
        return sorted(done)

    def _is_complete(self, path: Path, unchanged_seconds: float) -> bool:
        if unchanged_seconds < self.settled_seconds:
            return False
        return unchanged_seconds >= self.patience_seconds or self.is_whole(path)


def watch_folder(
    folder: Path, *, settled_seconds: float = _SETTLED_SECONDS, stop: Signal | None = None
) -> Iterator[list[Path]]:
    """Photos under the folder whenever some are complete, those first that lie there already; ends when stop is set.

    Raises NothingToMeasureError where there is no such folder.
    """
    from watchfiles import watch

    from vision.pixels import PICTURE_SUFFIXES

    if not folder.is_dir():
        raise NothingToMeasureError(f"{folder}: no such folder to watch")
    arrivals = Arrivals(_is_whole, settled_seconds)
    changes = watch(
        folder, stop_event=stop, yield_on_timeout=True, rust_timeout=_LOOK_AGAIN_MS, raise_interrupt=True, debounce=200
    )
    # The watch begins with the loop. Its first round scans the folder in any case: a photo copied before that moment
    # causes no event.
    is_first_round = True
    for changed in changes:
        if not (changed or arrivals.is_waiting or is_first_round):
            continue
        is_first_round = False
        # What changed is not read from the event: a walk also sees what came in a folder moved here, or was missed.
        if done := arrivals.complete(_files(folder, PICTURE_SUFFIXES), time.monotonic()):
            yield done


def _is_whole(path: Path) -> bool:
    from vision.pixels import PictureError, load_picture

    try:
        load_picture(path)
    except PictureError:
        return False
    return True


def _files(folder: Path, suffixes: Collection[str]) -> dict[Path, _State]:
    try:
        found = find_photos([folder], suffixes)
    except NothingToMeasureError:
        return {}
    states: dict[Path, _State] = {}
    for photo in found:
        try:
            stat = photo.path.stat()
        except OSError:  # gone again: a temporary file, or a link to nowhere
            continue
        states[photo.path] = (stat.st_size, stat.st_mtime_ns)
    return states
