"""The table of checks has every test file of this folder, and every row has a source."""

import os
import re

import pytest

from tests.outside.conftest import README


@pytest.mark.skipif("SPAWNRUN_WRITE_TABLE" in os.environ, reason="the table is just being written")
def test_every_file_has_a_row_and_every_row_a_source() -> None:
    rows = [line.strip("|").split("|") for line in README.read_text("utf-8").splitlines() if line.startswith("| ")][1:]
    named = {re.sub("[ `]", "", row[-1]) for row in rows}
    assert named == {path.name for path in README.parent.glob("test_*.py")} - {"test_table.py"}
    assert all(cell.strip() for row in rows for cell in row)
