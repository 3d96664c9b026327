"""Each test here reports what it checked, the source, and expected and actual values; `README.md` is the table.

SPAWNRUN_WRITE_TABLE=1 python -m pytest tests/outside        writes the table
"""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.report.conftest import shelf as shelf

README = Path(__file__).parent / "README.md"
HEAD = """\
# Checks from outside

Results of the program compared with something that this project did not make: published figures, certified results,
geometry, and programs that share no code with it. Each row is reported by a test of this folder. The table is written
by `SPAWNRUN_WRITE_TABLE=1 python -m pytest tests/outside`, on one machine, and committed.

| what | source | expected | got | test |
|---|---|---|---|---|
"""
Tell = Callable[[str, str, str, str], None]
_rows: dict[tuple[str, str], str] = {}


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Tell:
    """A function to report what was checked, the source, and expected and actual values."""

    def say(what: str, source: str, expected: str, got: str) -> None:
        cells = [text.replace("|", "\\|") for text in (what, source, expected, got, f"`{request.path.name}`")]
        _rows[request.path.name, what] = f"| {' | '.join(cells)} |\n"

    return say


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Write the table if asked for and if every test of the folder passed."""
    if os.environ.get("SPAWNRUN_WRITE_TABLE") and exitstatus == 0:
        README.write_text(HEAD + "".join(_rows[key] for key in sorted(_rows)), "utf-8")
