"""Jobs on worker processes."""

import signal
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import Any

import pytest

from farm.workers import run_jobs


@pytest.mark.parametrize("workers", [1, 2])
def test_every_job_comes_back_with_its_result(workers: int) -> None:
    assert dict(run_jobs(abs, [-3, -2, -1], workers=workers)) == {-3: 3, -2: 2, -1: 1}
    assert list(run_jobs(abs, [], workers=workers)) == []


class Counting(Executor):
    """A thread pool that counts the jobs given to it."""

    def __init__(self) -> None:
        self.inner = ThreadPoolExecutor(1)
        self.n_submitted = 0

    def submit(self, fn, /, *args, **kwargs) -> "Future[Any]":
        self.n_submitted += 1
        return self.inner.submit(fn, *args, **kwargs)


def test_no_more_jobs_are_in_flight_than_workers_need() -> None:
    executor = Counting()
    results: Iterator[tuple[int, int]] = run_jobs(abs, range(1000), workers=2, executor=executor)
    next(results)
    assert executor.n_submitted <= 8
    executor.inner.shutdown()


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="this system has no signal masks")
def test_ctrl_c_does_not_reach_the_workers() -> None:
    masks = list(run_jobs(_mask, [0, 1], workers=2))
    assert all(signal.SIGINT in mask for _, mask in masks)
    assert signal.SIGINT not in _mask(0)


def _mask(_: int) -> set[signal.Signals]:
    return {signal.Signals(number) for number in signal.pthread_sigmask(signal.SIG_BLOCK, set())}
