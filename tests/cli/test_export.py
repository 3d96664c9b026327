"""`spawnrun export`: the files that it lists exist."""

from pathlib import Path

from tests.cli.conftest import Spawnrun


def test_files_are_listed_with_their_number_of_rows(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("export", "--farm", "home")
    assert outcome.code == 0
    assert "home/export/readings.csv: 18 rows" in outcome.out
    for line in outcome.out.splitlines():
        assert Path(line.rpartition(":")[0]).is_file()


def test_as_of_leaves_out_later_records(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("export", "--out", "then", "--as-of", "2026-03-07", "--farm", "home")
    assert "then/readings.csv: 6 rows" in outcome.out
