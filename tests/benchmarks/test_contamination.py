"""The contamination benchmark counts correctly, and calibration reads the table that it writes."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.contamination.looks import Flag, Look
from benchmarks.contamination.page import write_page
from benchmarks.contamination.rule import green_boxes
from benchmarks.contamination.tally import (
    delays,
    false_line,
    false_table,
    groups_of,
    recall_line,
    score_bands,
    seen_table,
    table_text,
    threshold_rows,
)  # fmt: skip
from vision.records import Face

CLEAN = Look("s", "1.jpg", "B1", "bag", 1.0, 0.0, 0.0, "", True)


def flag(score: float, is_true: bool) -> Flag:
    return Flag("green", score, 1.0, (), is_true)


LOOKS = [
    CLEAN,
    replace(CLEAN, day=2.0, flags=(flag(0.6, False),)),
    replace(CLEAN, vessel="B2", day=1.0, true_cm2=0.4, true_coloured_cm2=0.1, colour="green"),
    replace(CLEAN, vessel="B2", day=3.0, true_cm2=2.0, true_coloured_cm2=1.5, colour="green"),
    replace(CLEAN, vessel="B2", day=5.0, true_cm2=9.0, true_coloured_cm2=8.0, colour="green", flags=(flag(0.9, True),)),
    replace(CLEAN, vessel="B2", day=6.0, true_cm2=9.0, true_coloured_cm2=8.0, colour="green", is_read=False),
]


def test_misses_and_false_flags_by_threshold() -> None:
    rows = {row[0]: row[1:] for row in threshold_rows(LOOKS)}
    assert rows[0.5] == (1, 2, 1, 2)
    assert rows[0.7] == (1, 2, 0, 2)
    assert rows[0.95] == (2, 2, 0, 2)


@pytest.mark.parametrize(("kind", "cm2", "due"), [("bag", 0.9, False), ("bag", 1.0, True), ("plate", 0.5, True)])
def test_only_large_coloured_patches_are_due(kind: str, cm2: float, due: bool) -> None:
    assert replace(CLEAN, kind=kind, true_cm2=cm2, true_coloured_cm2=cm2).is_due is due


def test_a_flag_elsewhere_on_a_contaminated_vessel_is_not_a_hit() -> None:
    look = replace(LOOKS[3], flags=(flag(0.9, False),))
    assert not look.flagged(0.5, truly=True)
    assert "0 of    1" in recall_line("due", [look], lambda one: one.flagged(0.5, truly=True))


def test_lines_report_unread_photos_and_false_flags_per_200() -> None:
    due = [one for one in LOOKS if one.is_due]
    assert "1 without a reading" in recall_line("due", due, lambda one: one.flagged(0.5, truly=True))
    assert "100.00 in 200" in false_line("false", LOOKS, lambda one: one.flagged(0.5, truly=False))


def test_a_flag_carried_over_from_an_earlier_photo_is_no_hit_of_this_photo() -> None:
    """The vessel is still marked, but its own reading shows nothing: only the last column counts it."""
    carried = replace(LOOKS[4], ground="bare")
    shown = replace(carried, alone=(flag(0.8, True),), series=(flag(0.8, True), flag(0.9, False)))
    hidden = replace(carried, alone=(flag(0.8, True),))
    header, every, *_ = seen_table(groups_of([CLEAN, carried, shown, hidden]), 0.5)
    assert [column.strip() for column in header.split("  ") if column.strip()] == [
        "due", "alone", "in series", "vessel marked",
    ]  # fmt: skip
    assert [int(part) for part in every.replace("all", "").split() if part.isdigit()] == [3, 2, 1, 3]


def test_groups_are_by_look_size_ground_and_kind() -> None:
    looks = [replace(LOOKS[4], ground="bare"), replace(LOOKS[3], ground="mycelium", kind="jar", colour="grey wispy")]
    groups = groups_of([CLEAN, *looks])
    assert set(groups) == {
        "all", "look: green", "look: grey wispy", "size: 1 to 2 cm2", "size: 5 to 20 cm2", "on bare", "on mycelium",
        "kind: bag", "kind: jar",
    }  # fmt: skip
    assert groups["on bare"] == [looks[0]]


def test_false_flags_are_counted_in_the_very_photo() -> None:
    wrong = replace(CLEAN, series=(flag(0.8, False),))
    line = false_table([CLEAN, wrong, *LOOKS[3:]], 0.5)
    assert [int(part) for part in line.split() if part.isdigit()] == [2, 0, 1, 0]


def test_days_from_first_pixel_to_flag() -> None:
    (line,) = delays(LOOKS, 0.5)
    assert "flagged 4.0 days after its first pixel at 8.0 cm2 of colour, 2.0 days late" in line
    (never,) = delays(LOOKS, 0.95)
    assert "flagged never" in never


def test_the_table_reads_back() -> None:
    table = tomllib.loads(table_text({"by hand": LOOKS}))
    assert table["measured"][0]["source"] == "by hand"
    assert [tuple(row) for row in table["measured"][0]["thresholds"]] == threshold_rows(LOOKS)
    assert [tuple(row) for row in table["bands"]] == score_bands(LOOKS)
    assert sum(row[3] for row in table["bands"]) == 2


def test_the_rule_flags_only_green_patches_of_that_size() -> None:
    rgb = np.full((120, 120, 3), 220, np.uint8)
    rgb[20:60, 20:60] = (60, 130, 70)
    rgb[80:110, 80:110] = (220, 120, 40)
    classes = np.full((120, 120), 2, np.uint8)
    face = Face(rgb, classes, classes, 3.0, np.eye(3), True)
    assert green_boxes(face, 1.0) == [(20, 20, 40, 40)]
    assert green_boxes(face, 2.0) == []


def test_the_page_has_each_group(tmp_path) -> None:
    page = write_page([replace(LOOKS[1], picture=b"x"), *LOOKS], 0.5, tmp_path / "flags.html").read_text()
    assert "False alarms (2)" in page
    assert "Misses (2)" in page
    assert "Hits (1)" in page
