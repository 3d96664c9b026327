"""Training examples: made by worker processes, stored as pickled lists in one folder, and loaded again."""

import pickle
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2


def run_jobs(jobs: Sequence[Callable[[], int]], workers: int) -> int:
    """Run jobs in a number of processes; the sum of what they return.

    Jobs travel to processes that are started anew: a copy (fork) of a process with threads may wait for ever for a lock
    that another thread held.
    """
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return sum(pool.map(_run, jobs))


def keep(examples: Sequence[Any], folder: Path, name: str) -> int:
    """Store examples under a name that begins with their maker; the number of examples."""
    (folder / f"{name}.pickle").write_bytes(pickle.dumps(list(examples)))
    return len(examples)


def read_kept(folder: Path, first_words: tuple[str, ...] = ("",)) -> list[Any]:
    """All examples whose file names begin with one of the given words, in the order of the names."""
    found: list[Any] = []
    for path in sorted(folder.glob("*.pickle")):
        if path.name.startswith(first_words):
            found += pickle.loads(path.read_bytes())  # noqa: S301 - our own file
    return found


def scene_files(folders: Sequence[Path]) -> list[Path]:
    """The truth.json of every scene in some folders."""
    return [file for folder in folders for file in sorted(folder.glob("*/truth.json"))]


def _run(job: Callable[[], int]) -> int:
    cv2.setNumThreads(1)
    return job()
