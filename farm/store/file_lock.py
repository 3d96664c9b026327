"""A file that says that work goes on in a folder, locked as long as it does: a killed process leaves it unlocked."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO


@contextmanager
def work_mark(path: Path) -> Iterator[None]:
    """A mark at the path until the block ends; one that a process left there that has ended is taken over.

    Raises BlockingIOError where another process holds it, OSError where it cannot be made.
    """
    with path.open("ab") as file:
        _lock(file)
        try:
            yield
        finally:
            file.close()  # an open file cannot be removed on every system
            with suppress(OSError):
                path.unlink()


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
