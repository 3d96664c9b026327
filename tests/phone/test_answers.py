"""What the phone is answered about a photo, from readings painted for each case."""

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from farm.lists import shelf_round
from farm.measure import measure_paths
from farm.records import list_vessels, move_vessels
from farm.store import Farm
from phone.answers import Answer, answer_of, round_lines
from phone.measuring import Measuring
from phone.uploads import FOLDER
from phone.words import words_of
from tests.farm.painted import paint, painted_vision, read_paint
from vision.records import MeasuredVessel, PhotoContext, Reading

ENGLISH = words_of("en")
UNREAD = "a label was found but cannot be read: move closer, hold still, avoid glare on the label"


def answered(farm: Farm, photo: Path, *more: Reading, flags: tuple[str, ...] = ()) -> Answer:
    """Measure a painted photo, with these readings beside those painted, and ask for its answer."""

    def measured(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
        painted = read_paint(rgb, context)
        flagged = [replace(one, reading=replace(one.reading, flags=flags)) for one in painted]
        return (*flagged, *map(MeasuredVessel, more))

    measure_paths(farm, [photo], vision=replace(painted_vision(), measure_photo=measured))
    found = answer_of(farm, Measuring(farm.folder, 1), ENGLISH, hashlib.sha256(photo.read_bytes()).hexdigest())
    assert found is not None
    return found


def lines(answer: Answer) -> list[tuple[str, str, str]]:
    return [(one.kind, one.vessel, one.text) for one in answer.lines]


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return tmp_path / "new" / "20260312_1200.png"


def test_a_photo_says_what_was_read_beside_the_reading_before(shelf: Farm, photo: Path) -> None:
    answer = answered(shelf, paint(photo, ("B001", 100), ("B003", 93, 1)))
    assert answer.state == "done"
    assert lines(answer) == [
        ("new", "B003", "still there: green patch, 1.0 cm2"),
        ("read", "B001", "100 % (99 % on 12 Mar)"),
        ("read", "B003", "93 % (90 % on 12 Mar)"),
    ]


def test_a_suspect_that_was_not_there_before_is_new_and_says_what_to_do(shelf: Farm, photo: Path) -> None:
    answer = answered(shelf, paint(photo, ("B001", 100, 2)))
    assert lines(answer)[0] == (
        "new", "B001", "new: green patch, 2.0 cm2. Leave it closed, and judge it under Review.",
    )  # fmt: skip


def test_a_label_that_is_not_read_is_to_be_taken_again_and_its_vessel_guessed_at(shelf: Farm, photo: Path) -> None:
    """Those beside it that were read say which one it may be."""
    move_vessels(shelf, ["B001", "B002", "B003"], "A2")
    day_after = replace_day(photo, "20260313_1000")
    farm = shelf.at(shelf.now.replace(day=13))
    answer = answered(farm, paint(day_after, ("B001", 100), ("B003", 95)), Reading(None, None, "unidentified", UNREAD))
    assert lines(answer)[0] == (
        "again", "", "a label is not sharp or has glare on it: come closer, hold still. Perhaps B002.",
    )  # fmt: skip


def replace_day(photo: Path, name: str) -> Path:
    return photo.with_name(f"{name}.png")


def test_a_refused_vessel_says_what_to_do_better(shelf: Farm, photo: Path) -> None:
    blurred = Reading("B002", "bag", "unusable", "retake: too blurred; hold the camera still and focus on the vessel")
    answer = answered(shelf, paint(photo, ("B001", 100)), blurred)
    assert lines(answer)[0] == ("again", "B002", "blurred: hold still, let the camera focus on the labels.")
    german = answer_of(shelf, Measuring(shelf.folder, 1), words_of("de"), answer.photo_hash)
    assert german is not None
    assert german.lines[0].text == "verwackelt: stillhalten, auf die Etiketten scharfstellen."


@pytest.mark.parametrize(("flag", "asked"), [("soft", True), ("cut_by_frame", True), ("label_matched", False)])
def test_a_flag_that_another_picture_would_mend_asks_for_one(shelf: Farm, photo: Path, flag: str, asked: bool) -> None:
    answer = answered(shelf, paint(photo, ("B001", 100)), flags=(flag,))
    assert [one.vessel for one in answer.lines if one.kind == "again"] == ["B001"] * asked


def test_a_label_of_no_vessel_is_named(shelf: Farm, photo: Path) -> None:
    reason = "label X9 belongs to no vessel in the list: add it, or remove the label"
    answer = answered(shelf, paint(photo, ("B001", 100)), Reading("X9", None, "unidentified", reason))
    assert lines(answer)[0] == ("again", "X9", "label X9 is of no vessel in the records: add it at the computer.")


def test_a_photo_that_waits_fails_or_is_unknown_says_so(shelf: Farm) -> None:
    measuring = Measuring(shelf.folder, 1)  # it is not started: what is added waits
    assert answer_of(shelf, measuring, ENGLISH, "0" * 64) is None
    measuring.add("0" * 64, shelf.folder / "x.jpg")
    assert answer_of(shelf, measuring, ENGLISH, "0" * 64) == Answer("0" * 64, "waiting")
    left = shelf.folder / FOLDER / "_2026-03-12"
    left.mkdir(parents=True)
    (left / f"{'1' * 64}.jpg").touch()
    assert answer_of(shelf, measuring, ENGLISH, "1" * 64) == Answer("1" * 64, "waiting")


def test_what_the_round_misses_is_said_by_shelf(shelf: Farm) -> None:
    move_vessels(shelf, ["B001", "B002"], "A2")
    farm = shelf.at(shelf.now.replace(day=13))
    missed = round_lines(ENGLISH, shelf_round(farm, list_vessels(farm)))
    assert missed == [
        "Nobody has seen shelf A2 today: 2 vessels.", "Nobody has seen vessels without a shelf today: 1 vessel.",
    ]  # fmt: skip
    assert round_lines(ENGLISH, shelf_round(shelf, list_vessels(shelf))) == []
