"""A watched folder: each photo is reported once, when its copy is complete."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from farm.measure import Arrivals, watch_folder
from farm.store.errors import NothingToMeasureError

A, B = Path("a.jpg"), Path("b.jpg")


def test_a_file_is_complete_when_it_has_not_changed_for_a_while() -> None:
    arrivals = Arrivals(lambda path: True, settled_seconds=2)
    assert arrivals.complete({A: (10, 1)}, 0.0) == []
    assert arrivals.complete({A: (20, 2)}, 1.5) == []  # still growing: the wait starts again
    assert arrivals.complete({A: (20, 2), B: (5, 1)}, 3.0) == []
    assert arrivals.is_waiting
    assert arrivals.complete({A: (20, 2), B: (5, 1)}, 3.5) == [A]
    assert arrivals.complete({A: (20, 2), B: (5, 1)}, 9.0) == [B]
    assert arrivals.complete({A: (20, 2), B: (5, 1)}, 20.0) == []
    assert not arrivals.is_waiting


def test_a_changed_file_is_reported_again_and_a_removed_one_is_forgotten() -> None:
    arrivals = Arrivals(lambda path: True, settled_seconds=2)
    arrivals.complete({A: (10, 1), B: (1, 1)}, 0.0)
    assert arrivals.complete({A: (10, 1)}, 3.0) == [A]
    assert not arrivals.is_waiting
    arrivals.complete({A: (11, 5)}, 4.0)
    assert arrivals.complete({A: (11, 5)}, 6.0) == [A]


def test_the_wait_for_a_paused_copy_has_a_limit() -> None:
    whole: set[Path] = set()
    arrivals = Arrivals(whole.__contains__, settled_seconds=2, patience_seconds=60)
    arrivals.complete({A: (10, 1), B: (9, 1)}, 0.0)
    assert arrivals.complete({A: (10, 1), B: (9, 1)}, 30.0) == []
    whole.add(A)
    assert arrivals.complete({A: (10, 1), B: (9, 1)}, 31.0) == [A]
    assert arrivals.complete({A: (10, 1), B: (9, 1)}, 60.0) == [B]


def test_existing_and_new_photos_are_reported_once_when_complete(tmp_path: Path) -> None:
    picture = tmp_path / "picture.png"
    Image.fromarray(np.random.default_rng(0).integers(0, 255, (80, 80, 3)).astype(np.uint8)).save(picture)
    content = picture.read_bytes()
    inbox = tmp_path / "inbox"
    (inbox / "B001").mkdir(parents=True)
    (inbox / "first.png").write_bytes(content)
    (inbox / "notes.txt").write_text("no photo")
    stop, told = threading.Event(), []

    def write_slowly() -> None:
        (inbox / ".part").write_bytes(content)
        (inbox / ".part").rename(inbox / "renamed.png")
        with (inbox / "B001" / "slow.png").open("wb") as file:
            for start in range(0, len(content), 5000):
                file.write(content[start : start + 5000])
                file.flush()
                time.sleep(0.1)

    writer = threading.Thread(target=write_slowly, daemon=True)
    ended = threading.Timer(60, stop.set)  # so that a failure does not hang the tests
    ended.start()
    for done in watch_folder(inbox, settled_seconds=0.3, stop=stop):
        told += [(path.relative_to(inbox).as_posix(), path.stat().st_size) for path in done]
        if len(told) == 1:
            writer.start()
        if len(told) == 3:
            stop.set()
    ended.cancel()
    writer.join(timeout=30)
    assert told[0][0] == "first.png"
    assert sorted(told) == [("B001/slow.png", len(content)), ("first.png", len(content)), ("renamed.png", len(content))]


def test_a_photo_copied_while_watching_starts_is_not_missed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It arrives just before the folder is watched, so there is no event for it."""
    import watchfiles

    begin = watchfiles.watch

    def begin_late(folder: Path, **settings: Any) -> Iterator[Any]:
        Image.new("RGB", (8, 8)).save(tmp_path / "early.png")
        yield from begin(folder, **settings)

    monkeypatch.setattr(watchfiles, "watch", begin_late)
    stop = threading.Event()
    ended = threading.Timer(30, stop.set)
    ended.start()
    told = next(watch_folder(tmp_path, settled_seconds=0.1, stop=stop), [])
    ended.cancel()
    assert [path.name for path in told] == ["early.png"]


def test_only_a_folder_can_be_watched(tmp_path: Path) -> None:
    with pytest.raises(NothingToMeasureError, match="no such folder to watch"):
        next(watch_folder(tmp_path / "none"))
