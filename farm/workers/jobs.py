"""Many independent jobs on worker processes, with a bounded number in flight; a worker that dies ends nothing."""

import os
import signal
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    InvalidStateError,
    wait,
)
from concurrent.futures import ProcessPoolExecutor as Pool
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from itertools import takewhile
from multiprocessing import get_context, resource_tracker
from threading import current_thread, main_thread
from typing import Any, Generic, TypeVar

from farm.process import start_worker
from farm.store.errors import WorkersLostError

Job = TypeVar("Job")
Result = TypeVar("Result")

#: Jobs handed to each worker ahead of time: enough to keep it busy, few enough to bound memory.
_AHEAD = 3
#: How often it is looked up whether Ctrl-C was pressed while all workers are busy.
_LOOK_UP_SECONDS = 0.3
#: A cluster says by an error of this name that a job took several of its workers with it.
_KILLED = "KilledWorker"
_GONE = (
    "the workers are gone (stopped, or out of memory); in a farm what was done so far is kept, and the same command"
    " goes on from there"
)


class Work(Generic[Job, Result]):
    """What is done with a job.

    do: in a worker; a function of the job, or of what prepare makes of it. prepare: in this process, as the job is
    handed over: what it reads is then held for jobs in flight only. lost: the result of a job that took its worker
    with it twice, once alone; None: then WorkersLostError.
    """

    def __init__(
        self,
        do: Callable[[Any], Result],
        *,
        prepare: Callable[[Job], Any] | None = None,
        lost: Callable[[Job], Result] | None = None,
    ) -> None:
        self.do = do
        self.prepare = prepare
        self.lost = lost

    def hand_to(self, executor: Executor, job: Job) -> "Future[Result]":
        """Begin a job on an executor."""
        return executor.submit(self.do, job if self.prepare is None else self.prepare(job))

    def here(self, job: Job) -> Result:
        """Do a job in this process."""
        return self.do(job if self.prepare is None else self.prepare(job))

    def give_up(self, job: Job) -> Result:
        """The result that replaces that of a job that cannot be done."""
        if self.lost is None:
            raise WorkersLostError(_GONE)
        return self.lost(job)


def run_jobs(
    work: Callable[[Job], Result] | Work[Job, Result],
    jobs: Sequence[Job],
    *,
    workers: int = 1,
    executor: Executor | None = None,
) -> Generator[tuple[Job, Result], None, None]:
    """Each job with its result, in the order in which they are done.

    workers 1 works in this process; executor takes the place of own workers (anything like concurrent.futures). Own
    workers that die (killed, out of memory) are replaced; what they held is done again, each job alone. Ctrl-C
    waits for the jobs that have begun, gives their results, and then stops (a second Ctrl-C ends them). Close the
    iterator if you leave it early: jobs not yet begun are dropped. Raises WorkersLostError where an executor has lost
    its workers.
    """
    work = work if isinstance(work, Work) else Work(work)
    if executor is None and min(workers, len(jobs)) <= 1:
        for job in jobs:
            yield job, work.here(job)
        return
    with _stop_when_asked() as is_stopped:
        waiting = takewhile(lambda _: not is_stopped(), jobs)
        if executor is None:
            yield from _on_own_workers(work, waiting, min(workers, len(jobs)), is_stopped)
        else:
            yield from _on_executor(executor, work, waiting, _AHEAD * workers, is_stopped)
        if is_stopped():
            raise KeyboardInterrupt


def all_cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _on_executor(
    executor: Executor, work: Work[Job, Result], waiting: Iterator[Job], limit: int, is_stopped: Callable[[], bool]
) -> Iterator[tuple[Job, Result]]:
    for job, future in _in_flight(executor, work, waiting, limit, is_stopped):
        try:
            yield job, future.result()
        except (BrokenExecutor, CancelledError):
            raise WorkersLostError(_GONE) from None
        except Exception as error:
            if type(error).__name__ != _KILLED:
                raise
            yield job, work.give_up(job)


def _on_own_workers(
    work: Work[Job, Result], waiting: Iterator[Job], workers: int, is_stopped: Callable[[], bool]
) -> Iterator[tuple[Job, Result]]:
    while True:
        lost: list[Job] = []
        with own_workers(workers) as pool:
            for job, future in _in_flight(pool, work, waiting, _AHEAD * workers, is_stopped):
                if isinstance(future.exception(), BrokenExecutor):
                    lost.append(job)
                else:
                    yield job, future.result()
        if not lost or is_stopped():
            return
        for job in lost:
            yield job, _alone(work, job)


def _alone(work: Work[Job, Result], job: Job) -> Result:
    """A job once more on a worker of its own: if that dies too, it was this job."""
    with own_workers(1) as pool:
        for _, future in _in_flight(pool, work, iter([job]), 1, lambda: False):
            if not isinstance(future.exception(), BrokenExecutor):
                return future.result()
    return work.give_up(job)


def _in_flight(
    executor: Executor, work: Work[Job, Result], waiting: Iterator[Job], limit: int, is_stopped: Callable[[], bool]
) -> Iterator[tuple[Job, "Future[Result]"]]:
    """Futures as they are done, those of one moment in the order of the jobs; ends early if the executor breaks."""
    flying: dict[Future[Result], Job] = {}
    is_open = True
    while True:
        while is_open and len(flying) < limit and (job := next(waiting, None)) is not None:
            with _no_interrupt_inside():
                future = _begun(executor, work, job)
            flying[future] = job
            is_open = not (future.done() and isinstance(future.exception(), BrokenExecutor))
        if is_stopped():
            flying = {future: job for future, job in flying.items() if not future.cancel()}
        if not flying:
            return
        done, _ = wait(flying, timeout=_LOOK_UP_SECONDS, return_when=FIRST_COMPLETED)
        if not done and _is_broken(executor):
            done = {_failed(future) for future in flying}
        for future in [one for one in flying if one in done]:
            yield flying.pop(future), future


@contextmanager
def _stop_when_asked() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed, instead of its exception; a second one raises as ever."""
    before = signal.getsignal(signal.SIGINT)
    if current_thread() is not main_thread() or not callable(before):
        yield lambda: False
        return
    pressed: list[int] = []

    def note(number: int, _frame: object) -> None:
        pressed.append(number)
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, before)


def _begun(executor: Executor, work: Work[Job, Result], job: Job) -> "Future[Result]":
    """The job's future; a failed one where the executor takes no more jobs because its workers are dead."""
    try:
        return work.hand_to(executor, job)
    except (BrokenExecutor, OSError) as error:
        if isinstance(error, OSError) and not _is_broken(executor):
            raise
        return _failed(Future())


def _is_broken(executor: Executor) -> bool:
    """Whether a pool of this process has lost a worker; such a pool does nothing more."""
    return bool(getattr(executor, "_broken", False))


def _failed(future: "Future[Result]") -> "Future[Result]":
    """The future as one whose worker is dead.

    A job that is handed over in the very moment in which a pool breaks is forgotten by it (Python 3.11 to 3.13).
    """
    with suppress(InvalidStateError):
        future.set_exception(BrokenProcessPool("its worker is dead"))
    return future


@contextmanager
def own_workers(workers: int) -> Iterator[Pool]:
    """Worker processes of our own until the block ends; they end with this process, even if that is killed.

    If the block ends by an exception, they are killed at once; else what they have begun is waited for.
    """
    # One thread each: the photos are what runs side by side. Children read this when they load numpy.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    pool = Pool(workers, mp_context=get_context("spawn"), initializer=start_worker)
    try:
        yield pool
    except BaseException:
        # Nobody waits for their results any more. A Ctrl-C while they are waited for would leave them behind, and this
        # process hanging at its end.
        with interrupts_held():
            _kill_workers(pool)
            pool.shutdown(wait=True, cancel_futures=True)
        raise
    if _is_broken(pool):
        # The pool ends its workers itself, but not one that was just being started: it would be waited for, for ever.
        _kill_workers(pool)
    pool.shutdown(wait=True, cancel_futures=True)


def end_workers(pool: Executor, seconds: float) -> None:
    """End a pool of own_workers: its workers get a termination signal, which they may handle, and so many seconds."""
    processes = list((getattr(pool, "_processes", None) or {}).values())  # Python 3.14: terminate_workers()
    manager = getattr(pool, "_executor_manager_thread", None)
    for process in processes:
        process.terminate()
    pool.shutdown(wait=False, cancel_futures=True)  # idle workers end by this
    until = time.monotonic() + seconds
    for process in processes:
        process.join(max(0.0, until - time.monotonic()))
        process.kill()
    if manager is not None:  # it must not still close its pipes while this process ends, when Python writes to them
        manager.join(seconds)


def _kill_workers(pool: Pool) -> None:
    for process in list((pool._processes or {}).values()):  # Python 3.14 has kill_workers() for this
        process.kill()


@contextmanager
def _no_interrupt_inside() -> Iterator[None]:
    """Hold Ctrl-C back for this moment; a worker that is begun in it never sees one, this process does afterwards.

    A worker hit while it still loads its modules would print a traceback.
    """
    # Otherwise it starts by itself while the first worker starts, and lifts the mask.
    resource_tracker.ensure_running()
    with interrupts_held():
        yield


@contextmanager
def interrupts_held() -> Iterator[None]:
    """Hold Ctrl-C back for a short while; where the system has no signal masks (Windows), nothing is held back."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
