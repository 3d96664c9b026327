"""What is done in the measuring process: photos to readings, and the farm's outlooks. Its own workers stay started."""

import os
import signal
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from farm.measure import RunOptions, label_texts, measure_paths
from farm.outlook import Outlook, bring_up_to_date
from farm.records import records_mark
from farm.store import open_farm
from farm.store.errors import NothingToMeasureError, WorkersLostError
from farm.workers import own_workers

#: How far the measuring stands back behind what serves pages (niceness, POSIX).
_NICENESS = 10
#: How often the outlooks are made again while the records change under them.
_ROUNDS = 3
_kept = ExitStack()
_pools: dict[int, Any] = {}
_is_busy: list[bool] = []


class _EndedError(BaseException):
    """The server ends: what is being done is dropped."""


def measure_round(folder: Path, paths: Sequence[Path], workers: int) -> dict[Path, str]:
    """Measure photos into the farm; of those of which nothing could be kept, why. workers: processes."""
    with _interruptible():
        if workers == 1:
            return _measure(folder, paths, RunOptions())
        try:
            return _measure(folder, paths, RunOptions(workers=workers, executor=_pool(workers)))
        except WorkersLostError:
            # One photo took its worker with it. Each goes alone, in this process: if it ends, it is known by which.
            _end_pools(None)
            return {path: why for one in paths for path, why in _measure(folder, [one], RunOptions()).items()}


def current_outlooks(folder: Path, as_of: datetime | None) -> tuple[str, list[Outlook]]:
    """The outlook of every vessel, after bringing the farm up to date, and the mark of the records that they are of.

    as_of: the moment that they are made for; None: now, or that of the farm's settings.
    """
    with _interruptible(), open_farm(folder).at(as_of) as farm:
        for _ in range(_ROUNDS):
            mark = records_mark(farm)
            outlooks = bring_up_to_date(farm)
            if records_mark(farm) == mark:
                break  # nothing came meanwhile, and nothing had to be read again
        return mark, outlooks


def labels_in(content: bytes) -> list[str]:
    """What the labels in a picture say."""
    return label_texts(content)


def stand_back() -> None:
    """Let others go first: a page is answered while photos are measured. And end quietly when asked to."""
    if hasattr(os, "nice"):
        os.nice(_NICENESS)
    signal.signal(signal.SIGTERM, _on_end)


def _on_end(_number: int, _frame: object) -> None:
    # Between two jobs it does nothing: the pool ends its process then by itself.
    if _is_busy:
        raise _EndedError


@contextmanager
def _interruptible() -> Iterator[None]:
    """Drop what is done in this block, and end the processes that do it, when this one is asked to end."""
    _is_busy.append(True)
    try:
        yield
    except _EndedError as ended:
        _end_pools(ended)
        raise
    finally:
        _is_busy.clear()


def _end_pools(why: BaseException | None) -> None:
    """End the workers: those that work are waited for, or, with an exception, killed."""
    _pools.clear()
    with suppress(Exception, _EndedError):
        _kept.__exit__(None if why is None else type(why), why, None)


def _measure(folder: Path, paths: Sequence[Path], options: RunOptions) -> dict[Path, str]:
    with open_farm(folder) as farm:
        try:
            photos = measure_paths(farm, paths, options)
        except NothingToMeasureError as error:
            return dict.fromkeys(paths, str(error))
    return {one.found.path: one.readings[0].reason for one in photos if one.readings and not one.readings[0].photo_hash}


def _pool(workers: int) -> Any:  # noqa: ANN401 - an executor
    if workers not in _pools:
        _pools[workers] = _kept.enter_context(own_workers(workers))
    return _pools[workers]
