"""The process that measures: it dies, it fails, it is stopped; what waits is told where it stands."""

import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from farm.outlook import Outlook
from phone import measuring as module
from phone.measuring import Measuring

#: Starting a process on a loaded machine, seconds.
PATIENCE = 60.0


def measure(folder: Path, paths: list[Path], workers: int) -> dict[Path, str]:
    """Stands for the measuring: what a file is called says what happens to it."""
    for path in paths:
        if path.name.startswith("deadly"):
            os.kill(os.getpid(), signal.SIGKILL)
        if path.name.startswith("slow"):
            time.sleep(30)
        with (folder / "log").open("a") as log:
            log.write(f"{path.name}\n")
    return {path: "no picture" for path in paths if path.name.startswith("bad")}


def outlooks(folder: Path, as_of: object) -> tuple[str, list[Outlook]]:
    return f"{len((folder / 'log').read_text().split()) if (folder / 'log').exists() else 0}", []


@pytest.fixture
def measured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Measuring, list[str]]]:
    monkeypatch.setattr(module, "measure_round", measure)
    monkeypatch.setattr(module, "current_outlooks", outlooks)
    marks: list[str] = []
    running = Measuring(tmp_path, workers=2, on_outlooks=lambda mark, _: marks.append(mark))
    running.start()
    yield running, marks
    running.stop()


def until(holds: Callable[[], Any]) -> None:
    end = time.monotonic() + PATIENCE
    while not holds():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.05)


def test_photos_are_measured_once_and_the_outlooks_follow(
    measured: tuple[Measuring, list[str]], tmp_path: Path
) -> None:
    running, marks = measured
    until(lambda: marks)
    for number in range(7):
        running.add(str(number), tmp_path / f"photo{number}")
        running.add(str(number), tmp_path / f"photo{number}")
    assert running.n_waiting == 7
    assert running.state_of("6")[0] in ("waiting", "measuring")
    until(lambda: running.n_waiting == 0)
    assert sorted((tmp_path / "log").read_text().split()) == [f"photo{number}" for number in range(7)]
    until(lambda: marks[-1] == "7")
    assert running.state_of("3") == (None, "")


def test_a_photo_that_kills_the_process_costs_only_itself(
    measured: tuple[Measuring, list[str]], tmp_path: Path
) -> None:
    running, _ = measured
    for number, name in enumerate(("one", "deadly", "two", "three")):
        running.add(str(number), tmp_path / name)
    until(lambda: running.n_waiting == 0)
    state, why = running.state_of("1")
    assert (state, why) == ("failed", "the process that measured it ended twice, as when memory runs out")
    assert set((tmp_path / "log").read_text().split()) == {"one", "two", "three"}


def test_a_photo_of_which_nothing_could_be_kept_says_why_and_may_be_sent_again(
    measured: tuple[Measuring, list[str]], tmp_path: Path
) -> None:
    running, _ = measured
    running.add("a", tmp_path / "bad")
    until(lambda: running.state_of("a")[0] == "failed")
    assert running.state_of("a") == ("failed", "no picture")
    running.add("a", tmp_path / "good")
    until(lambda: running.state_of("a") == (None, ""))


def test_it_ends_at_once_whatever_it_does(measured: tuple[Measuring, list[str]], tmp_path: Path) -> None:
    running, _ = measured
    running.add("a", tmp_path / "slow")
    until(lambda: running.state_of("a")[0] == "measuring")
    begun = time.monotonic()
    running.stop()
    assert running._thread is not None
    assert not running._thread.is_alive()
    assert time.monotonic() - begun < 20  # it was asleep for 30 s
    assert not (tmp_path / "log").exists()


def test_a_change_of_the_records_brings_new_outlooks(measured: tuple[Measuring, list[str]]) -> None:
    running, marks = measured
    until(lambda: len(marks) == 1)
    running.refresh()
    until(lambda: len(marks) == 2)
