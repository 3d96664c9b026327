"""The mark that work goes on in a folder: at any moment at most one process holds it."""

import sys
from pathlib import Path

import pytest

from farm.store import work_mark


def test_a_mark_is_held_by_one_and_gone_afterwards(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    with work_mark(mark), pytest.raises(BlockingIOError), work_mark(mark):
        pass
    assert not mark.exists()
    with work_mark(mark):
        assert mark.exists()


def test_a_mark_that_was_taken_away_between_opening_and_locking_is_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One process ends its work just then, and a third begins: the second must not hold a file that is gone."""
    mark = tmp_path / "mark"
    calls: list[int] = []
    module = sys.modules["farm.store.file_lock"]  # the door has a function of this name
    lock = module._lock

    def late(file: object) -> None:
        if not calls:
            mark.unlink()
        calls.append(1)
        lock(file)

    monkeypatch.setattr(module, "_lock", late)
    with work_mark(mark):
        assert mark.exists(), "the file that is locked lies at its place"
    assert len(calls) == 2
