"""A small part of the fuzz benchmark: the same seeds, fewer files. `python -m benchmarks.fuzz` runs thousands."""

from pathlib import Path

import pytest

from benchmarks.fuzz.__main__ import changed_pictures
from benchmarks.fuzz.pictures import whole_pictures
from benchmarks.fuzz.tables import changed_tables, try_table
from benchmarks.fuzz.watchdog import run_watched, written

pytestmark = pytest.mark.slow


def test_changed_pictures_are_measured_or_refused_with_a_reason(tmp_path: Path) -> None:
    names = list(whole_pictures())
    some = [one for name in names for one in changed_pictures(name, 4, seed=99)]
    tally = run_watched(written(tmp_path / "some", some), workers=1)
    assert tally.bad == []
    assert tally.counts["refused"] > len(names)
    assert tally.counts["measured"] > 0
    assert sum(tally.counts.values()) == 4 * len(names)


def test_changed_tables_are_accepted_or_refused_with_a_reason(tmp_path: Path) -> None:
    outcomes = [(kind, *try_table(kind, content, tmp_path)) for kind, content in changed_tables(60, seed=99)]
    assert [one for one in outcomes if one[1] == "fault"] == []
    assert {outcome for _, outcome, _ in outcomes} == {"taken", "refused"}
