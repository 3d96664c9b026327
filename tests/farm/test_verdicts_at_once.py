"""A verdict and the vessel's state are stored together or not at all; the same verdict given twice counts once."""

from datetime import timedelta
from pathlib import Path
from threading import Barrier, Thread
from typing import get_args

import pytest

from farm.records import get_vessel, import_vessels, list_verdicts, notes_of, undo_verdict
from farm.records.models import Verdict
from farm.review import ReviewItem, give_verdict
from farm.store import Farm, open_farm
from farm.store.errors import ReviewError
from tests.farm.by_hand import START, at_mm, frame, mark, outlook, reading, review_seen

HERE = frame()
SPOT = at_mm(HERE, 20, 20, 10)


@pytest.fixture
def shelf(farm: Farm, vessels_csv: Path) -> Farm:
    import_vessels(farm, vessels_csv)
    return farm.at(START + timedelta(days=9))


def items(farm: Farm) -> list[ReviewItem]:
    days = (reading(2, on=HERE), reading(4, mark(SPOT, 1.0), on=HERE), reading(8, mark(SPOT, 2.0), on=HERE))
    return review_seen(farm, [outlook(get_vessel(farm, "B001"), *days)])


class KilledError(Exception):
    """The process ends here."""


def die(*_: object) -> None:
    raise KilledError


def test_a_stop_between_verdict_and_state_stores_neither(shelf: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    listed = items(shelf)
    with monkeypatch.context() as patch:
        patch.setattr("farm.review.judging.set_state", die)
        with pytest.raises(KilledError):
            give_verdict(shelf, listed, "B001", "confirmed")
    assert list_verdicts(shelf) == []
    assert get_vessel(shelf, "B001").state == "running"
    give_verdict(shelf, listed, "B001", "confirmed")
    assert get_vessel(shelf, "B001").state == "contaminated"


def test_an_interrupted_undo_can_be_repeated(shelf: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    give_verdict(shelf, items(shelf), "B001", "confirmed")
    with monkeypatch.context() as patch:
        patch.setattr("farm.records.verdicts.set_state", die)
        with pytest.raises(KilledError):
            undo_verdict(shelf, "B001")
    assert get_vessel(shelf, "B001").state == "contaminated"
    undo_verdict(shelf, "B001")
    assert get_vessel(shelf, "B001").state == "running"
    with pytest.raises(ReviewError, match="no verdict on B001"):
        undo_verdict(shelf, "B001")


@pytest.mark.parametrize("verdict", get_args(Verdict))
def test_the_same_verdict_given_twice_from_one_list_is_one(shelf: Farm, verdict: Verdict) -> None:
    """A button pressed twice, or two people at once: both list first, then both judge."""
    listed = items(shelf)
    together = Barrier(2)
    given = []

    def judge() -> None:
        with open_farm(shelf.folder) as farm:
            together.wait(timeout=30)
            given.append(give_verdict(farm, listed, "B001", verdict))

    judges = [Thread(target=judge) for _ in range(2)]
    for one in judges:
        one.start()
    for one in judges:
        one.join(timeout=60)
    assert len(given) == 2
    assert [one.verdict for one in list_verdicts(shelf)] == [verdict]
    assert len(notes_of(shelf, "B001")) == (verdict == "confirmed")
    undo_verdict(shelf, "B001")
    assert get_vessel(shelf, "B001").state == "running"
    assert [one.undone_at is None for one in list_verdicts(shelf)] == [False]


def test_a_verdict_given_again_after_undo_counts(shelf: Farm) -> None:
    for _ in range(2):
        give_verdict(shelf, items(shelf), "B001", "dismissed")
        undo_verdict(shelf, "B001")
    give_verdict(shelf, items(shelf), "B001", "dismissed")
    assert [one.undone_at is None for one in list_verdicts(shelf)] == [False, False, True]
