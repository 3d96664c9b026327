"""Files that say that work goes on in a folder, locked as long as it does: a killed process leaves them unlocked."""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

_LOOK_AGAIN_SECONDS = 0.02

_HELD = "in-use"


@contextmanager
def work_mark(path: Path) -> Iterator[None]:
    """A mark at the path until the block ends; one that a process left there that has ended is taken over.

    Raises BlockingIOError where another process holds it, OSError where it cannot be made.
    """
    file = _locked(path)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink()  # while it is locked: what lies here later is another's
        file.close()
        if os.name == "nt":  # there, an open file cannot be removed
            with suppress(OSError):
                path.unlink()


def _locked(path: Path) -> IO[bytes]:
    """The file at a path, made if need be, opened and locked; one that was taken away meanwhile is no mark."""
    while True:
        file = path.open("ab")
        try:
            _lock(file)
            if path.exists() and os.path.samestat(path.stat(), os.fstat(file.fileno())):
                return file
        except OSError:
            file.close()
            raise
        file.close()


@contextmanager
def work_folder(parent: Path, prefix: str) -> Iterator[Path]:
    """A new folder for what is half made, taken away at the end; what killed processes have left there goes, too.

    prefix: of its name, the same for all work of one kind. Raises OSError where it cannot be made.
    """
    for left in parent.glob(f"{prefix}*"):
        with suppress(OSError), (left / _HELD).open("rb+") as held:
            _lock(held)  # it is in use where this fails
            shutil.rmtree(left, ignore_errors=True)
    with TemporaryDirectory(dir=parent, prefix=prefix, ignore_cleanup_errors=True) as name:
        begun = Path(name) / "begun"
        with begun.open("ab") as held:
            _lock(held)
            with suppress(OSError):  # Windows does not rename an open file: there, the folder would stay after a kill
                begun.rename(begun.with_name(_HELD))  # it has this name only as long as it is locked
            yield Path(name)


@contextmanager
def file_lock(path: Path, seconds: float) -> Iterator[None]:
    """A lock for short changes, waited for at most so many seconds. Its file stays, so that all lock the same one.

    Raises BlockingIOError where others hold it for longer, OSError where it cannot be made.
    """
    until = time.monotonic() + seconds
    with path.open("ab") as file:
        while True:
            try:
                _lock(file)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise
                time.sleep(_LOOK_AGAIN_SECONDS)
        yield


def _lock(file: IO[bytes]) -> None:
    try:
        import fcntl
    except ImportError:
        _lock_on_windows(file)
        return
    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _lock_on_windows(file: IO[bytes]) -> None:
    import msvcrt

    file.seek(0)
    try:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined, unused-ignore]
    except PermissionError as error:  # the word of that system for it
        raise BlockingIOError(str(error)) from None
