"""Load and measure each file in a supervised worker process; crashes, hangs and memory are reported."""

import resource
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

HANG_SECONDS = 10.0
_ASLEEP = 0.5


@dataclass
class Tally:
    """Outcomes of the files. bad: those that crashed, hung or failed, with what happened."""

    counts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    bad: list[tuple[Path, str]] = field(default_factory=list)
    slowest_seconds: float = 0.0
    most_mb: float = 0.0

    def add(self, path: Path, outcome: str, reason: str, seconds: float) -> None:
        """One file's outcome: measured, refused, or one of failed, crashed, hung."""
        self.counts[outcome] += 1
        self.slowest_seconds = max(self.slowest_seconds, seconds)
        if outcome == "refused":
            self.reasons[reason] += 1
        elif outcome != "measured":
            self.bad.append((path, f"{outcome}: {reason}"))


class _Worker:
    def __init__(self) -> None:
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()
        self.path: Path | None = None
        self.since = 0.0
        assert self.pipe.recv() == "ready"

    def give(self, path: Path) -> None:
        self.path, self.since = path, time.monotonic()
        self.pipe.send(path)

    def end(self) -> None:
        self.process.kill()
        self.process.join()


def run_watched(paths: Iterable[Path], workers: int = 2) -> Tally:
    """Load and measure each file as a run does; a worker that hangs or dies is reported and replaced."""
    tally, waiting = Tally(), iter(paths)
    free = [_Worker() for _ in range(workers)]
    busy: list[_Worker] = []
    while True:
        while free and (path := next(waiting, None)) is not None:
            worker = free.pop()
            worker.give(path)
            busy.append(worker)
        if not busy:
            break
        answered = set(wait([worker.pipe for worker in busy], timeout=_ASLEEP))
        for worker in list(busy):
            done = worker.pipe in answered
            if done or time.monotonic() - worker.since > HANG_SECONDS:
                busy.remove(worker)
                free.append(_settle(worker, tally, done=done))
    for worker in free:
        worker.end()
    return tally


def _settle(worker: _Worker, tally: Tally, *, done: bool) -> _Worker:
    assert worker.path is not None
    seconds = time.monotonic() - worker.since
    try:
        if not done:
            tally.add(worker.path, "hung", f"over {HANG_SECONDS:.0f} s", seconds)
        else:
            outcome, reason, most_mb = worker.pipe.recv()
            tally.add(worker.path, outcome, reason, seconds)
            tally.most_mb = max(tally.most_mb, most_mb)
            return worker
    except EOFError:
        worker.process.join()
        tally.add(worker.path, "crashed", f"exit {worker.process.exitcode}", seconds)
    worker.end()
    return _Worker()


def _work(pipe: Connection) -> None:
    from farm.measure import load_vision
    from farm.measure.vision_functions import measure_one
    from vision.records import PhotoContext, VesselSpec

    vision = load_vision()
    context = PhotoContext(vessels={"B9": VesselSpec("B9", "bag", "oyster", "sawdust")}, kind="bag")
    pipe.send("ready")
    while True:
        path: Path = pipe.recv()
        pipe.send(
            (*_outcome(vision, measure_one, path, context), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        )


def _outcome(vision: Any, measure_one: Any, path: Path, context: Any) -> tuple[str, str]:  # noqa: ANN401 - loaded in the worker
    try:
        look = measure_one(vision, path.read_bytes(), context)
    except Exception as error:
        return "failed", f"{type(error).__name__}: {error}"
    reasons = [one.reason for one in look.readings]
    if look.fault:
        return "failed", reasons[0]
    if any(one.status == "ok" for one in look.readings):
        return "measured", ""
    return ("refused", reasons[0].split("(")[0]) if reasons and all(reasons) else ("failed", "no reason given")


def written(folder: Path, contents: Iterable[tuple[str, bytes]]) -> Iterator[Path]:
    """Paths of the files, after writing each (name, content) to the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in contents:
        path = folder / name
        path.write_bytes(content)
        yield path
