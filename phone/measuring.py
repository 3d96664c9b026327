"""The measuring process beside the server: photos wait for it, and it keeps the farm's outlooks up to date."""

import logging
import time
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from threading import Condition, Thread
from typing import Any, Literal, TypeVar

from farm.outlook import Outlook
from farm.store.errors import SpawnrunError
from farm.workers import end_workers, interrupts_held, own_workers
from phone.measure_jobs import current_outlooks, measure_round, stand_back

log = logging.getLogger(__name__)
Result = TypeVar("Result")

PhotoState = Literal["waiting", "measuring", "failed", "done"]
#: Photos of one round for each worker: few, so that each is answered soon.
_A_ROUND = 2
#: While photos come without a pause, the outlooks are brought up to date this often, seconds.
_AT_LEAST_EVERY = 30.0
#: Photos that the program failed on twice are not tried a third time.
_TRIES = 2
_LOOK_UP_SECONDS = 0.2
#: What does not end by itself within so many seconds is killed.
_END_SECONDS = 10.0


class _StoppedError(Exception):
    """The server ends: what is being measured is dropped."""


@dataclass
class Measuring:
    """Photos in, outlooks out. as_of: the moment that lists are made for, None: now.

    on_outlooks: called from a thread of this with the mark of the records and their outlooks; on_photos: after a round.
    """

    folder: Path
    workers: int
    as_of: datetime | None = None
    on_outlooks: Callable[[str, Sequence[Outlook]], None] = lambda *_: None
    on_photos: Callable[[], None] = lambda: None
    _waiting: dict[str, Path] = field(default_factory=dict)
    _measuring: dict[str, Path] = field(default_factory=dict)
    _failed: dict[str, str] = field(default_factory=dict)
    _tries: dict[str, int] = field(default_factory=dict)
    _change: Condition = field(default_factory=Condition)
    _is_stale: bool = True
    _is_stopped: bool = False
    _thread: Thread | None = None

    def start(self) -> None:
        """Begin to work, in a thread and a process of its own."""
        self._thread = Thread(target=self._run, name="measuring", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it; what was kept stays, what is being measured is measured again next time."""
        with self._change:
            self._is_stopped = True
            self._change.notify_all()
        if self._thread is not None:
            self._thread.join(timeout=30)

    def add(self, photo_hash: str, path: Path) -> None:
        """A photo to measure; one that waits already, or is being measured, is not added again."""
        with self._change:
            if photo_hash not in self._measuring:
                self._failed.pop(photo_hash, None)
                self._tries.pop(photo_hash, None)
                self._waiting[photo_hash] = path
            self._change.notify_all()

    def refresh(self) -> None:
        """Bring the outlooks up to date soon: the records were changed."""
        with self._change:
            self._is_stale = True
            self._change.notify_all()

    @property
    def n_waiting(self) -> int:
        """How many photos wait or are being measured."""
        with self._change:
            return len(self._waiting) + len(self._measuring)

    def state_of(self, photo_hash: str) -> tuple[PhotoState | None, str]:
        """Where a photo stands, and why it failed; None for one that is not here: it is in the records, or unknown."""
        with self._change:
            if photo_hash in self._waiting:
                return "waiting", ""
            if photo_hash in self._measuring:
                return "measuring", ""
            if photo_hash in self._failed:
                return "failed", self._failed[photo_hash]
        return None, ""

    def _run(self) -> None:
        while not self._is_stopped:
            try:
                self._with_a_process()
            except BrokenExecutor:
                self._after_a_death()
            except _StoppedError:
                return
            except Exception:
                log.exception("measuring failed; it goes on in a minute")
                with self._change:
                    self._put_back()
                    self._change.wait(timeout=60)

    def _with_a_process(self) -> None:
        """Work until it is stopped: the process drops what it does, and then has some seconds to end by itself."""
        with own_workers(1) as pool:
            try:
                self._ask(pool, stand_back)
                self._work(pool)
            except _StoppedError:
                end_workers(pool, _END_SECONDS)
                raise

    def _work(self, pool: Executor) -> None:
        fresh_at = 0.0
        while True:
            photos, wants_outlooks = self._next()
            if photos:
                self._measure(pool, photos)
            late = time.monotonic() - fresh_at > _AT_LEAST_EVERY
            if wants_outlooks and (late or not self._has_waiting()):
                self._bring_up_to_date(pool)
                fresh_at = time.monotonic()

    def _next(self) -> tuple[dict[str, Path], bool]:
        """Wait for something to do: photos of the next round, and whether the outlooks are stale then."""
        with self._change:
            while not (self._waiting or self._is_stale or self._is_stopped):
                self._change.wait()
            if self._is_stopped:
                raise _StoppedError
            # A photo that was there when its process died goes alone.
            suspicious = next((one for one in self._waiting if self._tries.get(one)), None)
            chosen = [suspicious] if suspicious else list(self._waiting)[: _A_ROUND * self.workers]
            self._measuring = {one: self._waiting.pop(one) for one in chosen}
            return dict(self._measuring), self._is_stale or bool(chosen)

    def _has_waiting(self) -> bool:
        with self._change:
            return bool(self._waiting)

    def _measure(self, pool: Executor, photos: dict[str, Path]) -> None:
        faults = self._ask(pool, measure_round, self.folder, list(photos.values()), self.workers)
        with self._change:
            self._measuring = {}
            self._is_stale = True
            for photo_hash, path in photos.items():
                self._tries.pop(photo_hash, None)
                if path in faults:
                    self._failed[photo_hash] = faults[path]
        self.on_photos()

    def _bring_up_to_date(self, pool: Executor) -> None:
        with self._change:
            self._is_stale = False
        try:
            mark, outlooks = self._ask(pool, current_outlooks, self.folder, self.as_of)
        except SpawnrunError as error:  # records that are busy: it is tried again
            log.warning("the list could not be brought up to date: %s", error)
            with self._change:
                self._is_stale = True
                self._change.wait(timeout=5)
            return
        self.on_outlooks(mark, outlooks)

    def _ask(self, pool: Executor, do: Callable[..., Result], *given: Any) -> Result:  # noqa: ANN401 - whatever do takes
        """The answer of the measuring process. Raises _StoppedError, or BrokenExecutor where it has died."""
        with interrupts_held():  # its processes inherit that: Ctrl-C is for the server alone
            future: Future[Result] = pool.submit(do, *given)
        while True:
            wait([future], timeout=_LOOK_UP_SECONDS)
            if self._is_stopped:
                raise _StoppedError
            if future.done():
                return future.result()

    def _after_a_death(self) -> None:
        """The measuring process was killed, as when memory runs out: what it held is tried once more, each alone."""
        log.warning("the measuring process ended; it is started again")
        with self._change:
            for one in self._measuring:
                self._tries[one] = self._tries.get(one, 0) + 1
            self._put_back()
            self._is_stale = True

    def _put_back(self) -> None:
        for one, path in self._measuring.items():
            if self._tries.get(one, 0) >= _TRIES:
                self._failed[one] = "the process that measured it ended twice, as when memory runs out"
            else:
                self._waiting[one] = path
        self._measuring = {}
