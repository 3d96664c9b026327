"""Killed workers and Ctrl-C: no measurement is lost, and no photo is retried forever."""

import os
import pkgutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from farm.measure import RunOptions, Vision, measure_paths
from farm.records import import_vessels, list_readings
from farm.store import Farm, create_farm
from farm.store.errors import WorkersLostError
from farm.workers import Work, end_workers, jobs, own_workers, run_jobs
from tests.farm.deadly import DEADLY_PERCENT, SLOW_PERCENT, deadly_vision, once_deadly_vision
from tests.farm.deadly_jobs import die, die_over_odd, die_over_odd_on_signal, ignore_termination, wait_for
from tests.farm.painted import paint
from tests.processes import is_running, started

ROOT = Path(__file__).parents[2]
pytestmark = [
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system kills otherwise"),
    pytest.mark.slow,
]


def paint_days(folder: Path, percents: dict[int, int]) -> Path:
    for day, percent in percents.items():
        paint(folder / f"202603{day:02}_1000.png", ("B001", percent), ("B002", day))
    return folder


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    return paint_days(tmp_path / "photos", {day: 2 * day for day in range(3, 15)} | {7: DEADLY_PERCENT})


@pytest.fixture
def two(farm: Farm, vessels_csv: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Farm, RunOptions]:
    import_vessels(farm, vessels_csv)
    monkeypatch.setattr(jobs, "_AHEAD", 1)  # each job in flight with a dead worker is done again on a new one
    return farm, RunOptions(workers=2)


def test_a_photo_that_kills_its_worker_twice_is_reported_and_the_others_are_kept(
    two: tuple[Farm, RunOptions], photos: Path, vision: Vision
) -> None:
    farm, options = two
    outcome = measure_paths(farm, [photos], options, vision=deadly_vision())
    (failed,) = [photo for photo in outcome if not photo.is_read]
    assert failed.found.path.stem == "20260307_1000"
    assert "killed twice" in failed.readings[0].reason
    assert len(list_readings(farm)) == 2 * 11
    again = measure_paths(farm, [photos], options, vision=vision)
    assert [photo.found.path.stem for photo in again if photo.is_new] == ["20260307_1000"]
    assert len(list_readings(farm)) == 2 * 12


def test_a_worker_that_is_killed_once_changes_nothing(
    two: tuple[Farm, RunOptions], photos: Path, vessels_csv: Path, vision: Vision, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    farm, options = two
    monkeypatch.setenv("SPAWNRUN_TEST_DEATH_MARK", str(tmp_path / "died"))
    assert all(photo.is_read for photo in measure_paths(farm, [photos], options, vision=once_deadly_vision()))
    assert (tmp_path / "died").exists()
    with create_farm(tmp_path / "quiet") as quiet:
        import_vessels(quiet, vessels_csv)
        measure_paths(quiet, [photos], vision=vision)
        assert list_readings(farm) == list_readings(quiet)


def test_jobs_that_kill_every_worker_end_with_a_message() -> None:
    with pytest.raises(WorkersLostError, match="workers are gone"):
        list(run_jobs(die, range(4), workers=2))
    given_up = dict(run_jobs(Work(die_over_odd, lost=str), range(6), workers=2))
    assert given_up == {0: 0, 1: "1", 2: 2, 3: "3", 4: 4, 5: "5"}


@pytest.mark.parametrize("is_started_first", [True, False])
def test_a_worker_that_is_started_while_the_pool_breaks_is_not_waited_for(
    is_started_first: bool, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The first worker dies while the second is being started: the pool does not know the second yet."""

    def start_slowly(pool: ProcessPoolExecutor) -> None:
        known = pool._processes
        if known:
            wait_for(tmp_path / "begun")
        if is_started_first:
            pool._processes = {}
            start(pool)
        if known:
            (tmp_path / "go").touch()
        until = time.monotonic() + 20
        while known and not pool._broken and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(0.2 if known else 0)
        if is_started_first:
            known.update(pool._processes)
            pool._processes = known
        else:
            start(pool)

    start = ProcessPoolExecutor._spawn_process  # type: ignore[attr-defined]
    monkeypatch.setattr(ProcessPoolExecutor, "_spawn_process", start_slowly)
    monkeypatch.setattr(jobs, "start_worker", None)  # which would import OpenCV in each of the workers
    work = Work[int, int | str](partial(die_over_odd_on_signal, tmp_path), lost=str)
    assert dict(run_jobs(work, [1, 2, 4], workers=2)) == {1: "1", 2: 2, 4: 4}


def test_an_ended_pool_leaves_no_thread_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python writes to the pipes of a pool whose thread still runs when the process ends; a closed one is an error."""
    manager = "concurrent.futures.process._ExecutorManagerThread.join_executor_internals"
    join = pkgutil.resolve_name(manager)

    def join_late(thread: Any) -> None:
        time.sleep(0.3)
        join(thread)

    monkeypatch.setattr(manager, join_late)
    monkeypatch.setattr(jobs, "start_worker", None)
    before = set(threading.enumerate())
    with own_workers(1) as pool:
        pool.submit(abs, -1).result()
        end_workers(pool, 10)
        assert set(threading.enumerate()) == before


def test_an_idle_worker_that_heeds_no_signal_still_ends_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pool tells it to; it is not left to be killed when its seconds are over."""
    monkeypatch.setattr(jobs, "start_worker", None)
    with own_workers(1) as pool:
        pool.submit(ignore_termination).result()
        (worker,) = pool._processes.values()
        end_workers(pool, 10)
        assert worker.exitcode == 0


def test_an_executor_without_workers_ends_with_a_message() -> None:
    with pytest.raises(WorkersLostError, match="goes on from there"):
        list(run_jobs(abs, [1, 2], executor=Dead()))


@dataclass(frozen=True)
class Slow:
    """A slow run over 26 days of two vessels, in a separate process that prints its progress."""

    farm: Farm
    photos: Path
    run: "subprocess.Popen[str]"


@pytest.fixture
def slow(tmp_path: Path, vessels_csv: Path) -> Iterator[Slow]:
    program = (
        "import sys; from pathlib import Path; from farm.measure import *; from farm.store import open_farm\n"
        "from tests.farm.deadly import slow_vision\n"
        "def tell(stage, n_done, n_all):\n"
        "    print(stage, n_done, flush=True)\n"
        "if __name__ == '__main__':\n"
        "    with open_farm(Path(sys.argv[1])) as farm:\n"
        "        options = RunOptions(workers=2, on_progress=tell)\n"
        "        measure_paths(farm, [Path(sys.argv[2])], options, vision=slow_vision())\n"
    )
    (tmp_path / "batch.py").write_text(program)
    photos = paint_days(tmp_path / "photos", dict.fromkeys(range(3, 29), SLOW_PERCENT))
    with create_farm(tmp_path / "farm") as farm:
        import_vessels(farm, vessels_csv)
        command = [sys.executable, str(tmp_path / "batch.py"), str(farm.folder), str(photos)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
        with started(command, cwd=ROOT, env=environment, **pipes) as run:
            yield Slow(farm, photos, run)


def test_ctrl_c_keeps_the_results_of_jobs_in_work(slow: Slow, vision: Vision) -> None:
    """The signal goes to the parent while photos are in work; these are finished, later ones are dropped."""
    assert slow.run.stdout is not None
    told = []
    for line in slow.run.stdout:
        told.append(line.strip())
        if line.strip() == "photos 1":
            slow.run.send_signal(signal.SIGINT)
    _, said = slow.run.communicate(timeout=60)
    assert slow.run.returncode != 0
    assert said.count("Traceback") == 1
    n_told = int(told[-1].removeprefix("photos "))
    assert 3 <= n_told < 26
    assert len(list_readings(slow.farm)) == 2 * n_told
    rest = measure_paths(slow.farm, [slow.photos], vision=vision)
    assert sum(photo.is_new for photo in rest) == 26 - n_told


def test_repeated_ctrl_c_ends_the_workers_too(slow: Slow, vision: Vision) -> None:
    assert slow.run.stdout is not None
    assert any(line.strip() == "photos 1" for line in slow.run.stdout)
    for _ in range(4):
        slow.run.send_signal(signal.SIGINT)
        time.sleep(0.1)
    slow.run.communicate(timeout=60)  # this did hang once
    assert slow.run.returncode != 0
    n_kept = len(list_readings(slow.farm))
    assert 2 <= n_kept < 52
    assert n_kept % 2 == 0
    rest = measure_paths(slow.farm, [slow.photos], vision=vision)
    assert sum(photo.is_new for photo in rest) == 26 - n_kept // 2


@pytest.mark.parametrize("is_waiting", [True, False])
def test_workers_end_with_a_parent_that_is_killed(tmp_path: Path, is_waiting: bool) -> None:
    """One has no more to do and waits; one is in the middle of a job. Both were left behind for ever."""
    program = (
        "import sys; from farm.workers import run_jobs; from tests.farm.test_lost_workers import pid_then_wait\n"
        "if __name__ == '__main__':\n"
        "    for _, pid in run_jobs(pid_then_wait, [0.5, 0.5, 300, float(sys.argv[1])], workers=2):\n"
        "        print(pid, flush=True)\n"
    )
    (tmp_path / "batch.py").write_text(program)
    command = [sys.executable, str(tmp_path / "batch.py"), "0" if is_waiting else "300"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with started(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        workers = {int(run.stdout.readline()) for _ in range(2)}
        run.kill()
        run.wait(timeout=30)
        until = time.monotonic() + 30
        while any(map(is_running, workers)) and time.monotonic() < until:
            time.sleep(0.05)
        assert not any(map(is_running, workers))


def test_workers_that_still_start_end_with_a_parent_that_is_killed(tmp_path: Path) -> None:
    """Their libraries load for a minute, as they nearly do on a busy machine; the parent is killed meanwhile."""
    (tmp_path / "sitecustomize.py").write_text(SLOW_LIBRARIES)
    (tmp_path / "batch.py").write_text(
        "if __name__ == '__main__':\n"
        "    from farm.workers import run_jobs; from tests.farm.test_lost_workers import pid_then_wait\n"
        "    list(run_jobs(pid_then_wait, [0, 0, 0], workers=2))\n"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(tmp_path), str(ROOT)))}
    command = [sys.executable, str(tmp_path / "batch.py")]
    with started(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        workers = {int(run.stdout.readline()) for _ in range(2)}
        run.kill()
        run.wait(timeout=30)
        until = time.monotonic() + 15
        while any(map(is_running, workers)) and time.monotonic() < until:
            time.sleep(0.05)
        assert not any(map(is_running, workers))


#: In a worker, the first large library to be loaded takes a minute, after a word of who loads it.
SLOW_LIBRARIES = """
import os, sys, time

class Slow:
    def find_spec(self, name, path=None, target=None):
        if name in ("numpy", "sqlalchemy", "cv2", "pydantic") and "--multiprocessing-fork" in sys.orig_argv:
            print(os.getpid(), flush=True)
            time.sleep(60)

sys.meta_path.insert(0, Slow())
"""


def pid_then_wait(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


class Dead(Executor):
    """A pool whose workers have died."""

    def submit(self, fn, /, *args, **kwargs) -> "Future[Any]":
        broken: Future[Any] = Future()
        broken.set_exception(BrokenProcessPool("dead"))
        return broken
