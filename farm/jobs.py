"""Many independent jobs on worker processes, with a bounded number in flight."""

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import ExitStack, contextmanager
from multiprocessing import get_context, resource_tracker
from typing import TypeVar

Job = TypeVar("Job")
Result = TypeVar("Result")

#: Jobs handed to each worker ahead of time: enough to keep it busy, few enough to bound memory.
_AHEAD = 3


def run_jobs(
    work: Callable[[Job], Result],
    jobs: Sequence[Job],
    *,
    workers: int = 1,
    executor: Executor | None = None,
) -> Iterator[tuple[Job, Result]]:
    """Each job with its result, in the order in which they are done.

    workers 1 works in this process; executor takes the place of own workers (anything like concurrent.futures).
    If the caller stops early, jobs not yet begun are dropped.
    """
    if executor is None and min(workers, len(jobs)) <= 1:
        for job in jobs:
            yield job, work(job)
        return
    with ExitStack() as stack:
        if executor is None:
            executor = stack.enter_context(_own_workers(min(workers, len(jobs))))
            stack.callback(executor.shutdown, wait=True, cancel_futures=True)
        yield from _in_flight(executor, work, jobs, limit=_AHEAD * workers)


def all_cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _own_workers(workers: int) -> ProcessPoolExecutor:
    # One thread each: the photos are what runs side by side. Children read this when they load numpy.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_one_thread)


@contextmanager
def _no_interrupt_inside() -> Iterator[None]:
    """Hold Ctrl-C back for this moment; a worker that is begun in it never sees one, this process does afterwards.

    A worker hit while it still loads its modules would print a traceback. Where the system has no signal masks
    (Windows), nothing is held back.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Begun by itself otherwise, in the midst of the first worker's start, and then it lifts the mask.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _one_thread() -> None:
    import cv2

    cv2.setNumThreads(1)


def _in_flight(
    executor: Executor, work: Callable[[Job], Result], jobs: Sequence[Job], limit: int
) -> Iterator[tuple[Job, Result]]:
    waiting = iter(jobs)
    flying: dict[Future[Result], Job] = {}
    while True:
        while len(flying) < limit and (job := next(waiting, None)) is not None:
            with _no_interrupt_inside():
                flying[executor.submit(work, job)] = job
        if not flying:
            return
        done, _ = wait(flying, return_when=FIRST_COMPLETED)
        for future in done:
            yield flying.pop(future), future.result()
