"""`spawnrun forecast`: from a table of percents, as JSON that a script can read."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun

KEYS = [
    "vessel",
    "percent_now",
    "status",
    "ready_median",
    "ready_low",
    "ready_high",
    "percent_per_day",
    "notes",
]


@pytest.fixture
def by_eye(tmp_path: Path) -> Path:
    """A bag with percents on a smooth curve to 99 % on day 16, and one with a single reading."""
    start = datetime(2026, 3, 1, 8)
    rows = ["vessel,kind,species,substrate,batch,inoculated,taken_at,percent"]
    for day, percent in ((2, 0), (4, 6), (6, 24), (8, 48), (10, 70), (12, 86), (13, 92)):
        rows.append(
            f"west bag,bag,oyster,sawdust,B1,{start:%Y-%m-%d},{start + timedelta(days=day):%Y-%m-%dT%H:%M},{percent}"
        )
    rows.append(f"east bag,bag,oyster,sawdust,B1,{start:%Y-%m-%d},2026-03-05,10")
    source = tmp_path / "readings.csv"
    source.write_text("\n".join(rows) + "\n")
    return source


def test_one_record_for_each_vessel(spawnrun: Spawnrun, by_eye: Path) -> None:
    outcome = spawnrun("forecast", "readings.csv")
    assert (outcome.code, outcome.err) == (0, "")
    west, east = json.loads(outcome.out)
    assert list(west) == KEYS
    assert (west["vessel"], east["vessel"]) == ("west bag", "east bag")
    low, median, high = (datetime.fromisoformat(west[f"ready_{edge}"]) for edge in ("low", "median", "high"))
    assert datetime(2026, 3, 14) < low < median < high < datetime(2026, 4, 15)
    assert west["status"] == "colonising"
    assert west["percent_now"] == pytest.approx(92, abs=5)


def test_as_of_leaves_later_readings_out(spawnrun: Spawnrun, by_eye: Path) -> None:
    (west, _) = json.loads(spawnrun("forecast", "readings.csv", "--as-of", "2026-03-10").out)
    assert west["percent_now"] < 65


def test_another_law_changes_the_answer(spawnrun: Spawnrun, by_eye: Path) -> None:
    usual, asked = (json.loads(spawnrun("forecast", "readings.csv", *law).out) for law in ((), ("--law", "gompertz")))
    assert usual[0]["ready_median"] != asked[0]["ready_median"]


def test_a_temperature_moves_a_young_vessel(spawnrun: Spawnrun) -> None:
    """The column may be written with a decimal comma, as spreadsheets of many countries do."""
    days = []
    for celsius in ("23", "13,5"):
        Path("one.csv").write_text(
            "vessel;kind;species;inoculated;taken_at;percent;temperature_c\n"
            f"east;bag;oyster;2026-03-01;2026-03-03;0;{celsius}\n"
        )
        (one,) = json.loads(spawnrun("forecast", "one.csv").out)
        days.append(datetime.fromisoformat(one["ready_median"]))
    assert days[1] - days[0] > timedelta(days=5)


def test_the_table_for_people(spawnrun: Spawnrun, by_eye: Path) -> None:
    outcome = spawnrun("forecast", "readings.csv", "--format", "table")
    assert "west bag" in outcome.out
    assert "colonised through" in outcome.out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (",6\n", ",106\n", "line 3, column percent: '106'"),
        ("2026-03-05T08:00", "5 March", "line 3, column taken_at: '5 March'"),
        ("2026-03-05,10", "2026-03-05,10%", "line 9, column percent: '10%'"),
        ("taken_at", "seen_at", "line 1: no column taken_at"),
        (
            "west bag,bag,oyster,sawdust,B1,2026-03-01,2026-03-07",
            "west bag,jar,oyster,sawdust,B1,2026-03-01,2026-03-07",
            "line 4, column kind: west bag has another on line 2",
        ),
    ],
)
def test_bad_rows_are_reported_with_their_line(spawnrun: Spawnrun, by_eye: Path, old: str, new: str, said: str) -> None:
    text = by_eye.read_text()
    assert old in text
    by_eye.write_text(text.replace(old, new, 1))
    outcome = spawnrun("forecast", "readings.csv")
    assert (outcome.code, outcome.out) == (2, "")
    assert said in outcome.err


def test_events_of_vessels_without_readings_are_ignored(spawnrun: Spawnrun, by_eye: Path, tmp_path: Path) -> None:
    alone = spawnrun("forecast", "readings.csv")
    (tmp_path / "events.csv").write_text("vessel,event,at\nnorth bag,shaken,2026-03-05\n")
    outcome = spawnrun("forecast", "readings.csv", "--events", "events.csv")
    assert (outcome.code, outcome.out) == (0, alone.out)
