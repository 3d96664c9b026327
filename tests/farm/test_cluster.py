"""A run on a Dask cluster on loopback: the same records, also when a worker is killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from farm.measure import RunOptions, Vision, measure_paths
from farm.measure.photo_jobs import PhotoTask, known_facts, measure_sent
from farm.records import import_vessels, list_readings
from farm.store import Farm, create_farm
from farm.store.errors import ClusterError
from farm.workers import cluster_executor
from farm.workers.shared import Shared
from tests.farm.deadly import SLOW_PERCENT, deadly_vision, slow_vision
from tests.farm.painted import paint

pytestmark = pytest.mark.slow

pytest.importorskip("distributed", reason="distributed is not installed (dev extra)")
ROOT = Path(__file__).parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}


class Cluster:
    """A scheduler and two workers, as separate processes."""

    def __init__(self, home: Path, n_workers: int) -> None:
        self.facts = home / "scheduler.json"
        self.log = (home / "log").open("w")
        self.processes = [self._start("dask_scheduler", "--host", "127.0.0.1", "--port", "0")]
        for _ in range(n_workers):
            self.processes.append(self._start("dask_worker", "--no-nanny", "--nthreads", "1", "--host", "127.0.0.1"))

    def _start(self, program: str, *arguments: str) -> "subprocess.Popen[bytes]":
        command = [
            sys.executable,
            "-m",
            f"distributed.cli.{program}",
            "--no-dashboard",
            "--scheduler-file",
            str(self.facts),
        ]
        return subprocess.Popen([*command, *arguments], env=ENVIRONMENT, stdout=self.log, stderr=self.log, cwd=ROOT)

    def address(self) -> str:
        import json

        until = time.monotonic() + 60
        while time.monotonic() < until:
            if self.facts.exists() and self.facts.stat().st_size:
                return str(json.loads(self.facts.read_text())["address"])
            time.sleep(0.05)
        pytest.fail("the scheduler did not start")

    def wait_for_workers(self, n_workers: int) -> str:
        from distributed import Client

        with Client(self.address(), set_as_default=False) as client:
            client.wait_for_workers(n_workers, timeout=60)
        return self.address()

    def stop(self) -> None:
        for one in reversed(self.processes):
            one.kill()
            one.wait(timeout=30)
        self.log.close()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    started = Cluster(tmp_path, 2)
    yield started
    started.stop()


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    for day in range(3, 15):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", SLOW_PERCENT), ("B002", 3 * day, day % 3))
    return tmp_path / "photos"


@pytest.fixture
def local(tmp_path: Path, vessels_csv: Path, photos: Path, vision: Vision) -> Iterator[Farm]:
    with create_farm(tmp_path / "local") as farm:
        import_vessels(farm, vessels_csv)
        measure_paths(farm, [photos], vision=vision)
        yield farm


def test_a_cluster_that_loses_a_worker_during_a_run_gives_the_same_records(
    farm: Farm, local: Farm, vessels_csv: Path, photos: Path, cluster: Cluster, vision: Vision
) -> None:
    def kill_one(stage: str, n_done: int, n_all: int) -> None:
        told.append((stage, n_done))
        if (stage, n_done) == ("photos", 2):
            cluster.processes[1].send_signal(signal.SIGKILL)

    told: list[tuple[str, int]] = []
    import_vessels(farm, vessels_csv)
    with cluster_executor(cluster.wait_for_workers(2)) as (executor, n_workers):
        assert n_workers == 2
        options = RunOptions(workers=n_workers, executor=executor, on_progress=kill_one)
        outcome = measure_paths(farm, [photos], options, vision=slow_vision())
        assert cluster.processes[1].wait(timeout=60) == -signal.SIGKILL
        assert ("series", 2) in told
        assert all(photo.is_new and photo.is_read for photo in outcome)
        assert list_readings(farm) == list_readings(local)

        sent = RunOptions(workers=n_workers, executor=executor, send_photos=True, again=True)
        assert all(photo.is_new for photo in measure_paths(farm, [photos], sent, vision=vision))
        assert list_readings(farm) == list_readings(local)


def test_a_photo_that_kills_several_workers_is_reported(farm: Farm, vessels_csv: Path, tmp_path: Path) -> None:
    """The scheduler gives a task to three more workers (its setting allowed-failures)."""
    paint(tmp_path / "photos" / "20260303_1000.png", ("B001", 66))
    paint(tmp_path / "photos" / "20260304_1000.png", ("B001", 8))
    import_vessels(farm, vessels_csv)
    cluster = Cluster(tmp_path, 5)
    try:
        with cluster_executor(cluster.wait_for_workers(5)) as (executor, n_workers):
            options = RunOptions(workers=n_workers, executor=executor)
            first, second = measure_paths(farm, [tmp_path / "photos"], options, vision=deadly_vision())
    finally:
        cluster.stop()
    assert "killed" in first.readings[0].reason
    assert second.is_read
    assert [one.percent for one in list_readings(farm)] == [8]


def test_a_photo_that_a_worker_cannot_read_is_reported_and_not_stored(
    farm: Farm, vessels_csv: Path, photos: Path, tmp_path: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    known = Shared(known_facts(farm, None, {}))
    content = next(photos.iterdir()).read_bytes()
    unseen = measure_sent(vision, known, PhotoTask(tmp_path / "elsewhere.png", "", None))
    assert unseen.fault
    assert "does not see it" in unseen.readings[0].reason
    task = PhotoTask(tmp_path / "elsewhere.png", sha256(content).hexdigest(), None, content)
    sent = measure_sent(vision, known, task)
    assert [one.status for one in sent.readings] == ["ok", "ok"]


def test_a_cluster_that_cannot_be_used_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lonely = Cluster(tmp_path, 0)
    try:
        with pytest.raises(ClusterError, match="has no workers"), cluster_executor(lonely.address()):
            pass
    finally:
        lonely.stop()
    monkeypatch.setattr("farm.workers.cluster._WAIT_SECONDS", 1)
    for nonsense in ("tcp://127.0.0.1:9", "carrier pigeon", "ftp://127.0.0.1:9"):
        with pytest.raises(ClusterError, match="no Dask scheduler answers"), cluster_executor(nonsense):
            pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match="pip install distributed"), cluster_executor("tcp://x:1"):
        pass
