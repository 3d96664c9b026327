"""A species' key, such as king_oyster, is for programs; people are shown its name."""

import re
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun
from tests.farm.painted import paint

#: One species with paces of its own and one that uses those of its kind; written by key, as a person may do.
VESSELS = """\
vessel,kind,species,substrate,inoculated,batch,temperature_c
K001,block,king_oyster,sawdust,2026-03-01,A,16
K002,bucket,King Oyster,straw,2026-03-01,B,16
"""


@pytest.fixture
def kings(spawnrun: Spawnrun, painted: None, tmp_path: Path) -> None:
    spawnrun("init", "home")
    (tmp_path / "kings.csv").write_text(VESSELS)
    spawnrun("vessel", "import", "kings.csv", "--farm", "home")
    for day, percent in ((3, 1), (6, 20), (8, 45)):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("K001", percent), ("K002", percent))
    assert spawnrun("measure", "photos", "--farm", "home").code == 0


@pytest.mark.usefixtures("kings")
@pytest.mark.parametrize(
    "command",
    [
        ("vessel", "list"),
        ("curve", "K001"),
        ("curve", "K002"),
        ("curve", "--pace"),
        ("plan",),
        ("plan", "--target", "4 king oyster blocks by 2026-06-01", "--as-of", "2026-03-08T12:00"),
        ("compare",),
        ("trace", "K001"),
        ("species",),
        ("species", "king oyster"),
        ("species", "nobody"),
    ],
)
def test_lists_show_the_name_of_a_species(spawnrun: Spawnrun, command: tuple[str, ...]) -> None:
    answer = spawnrun(*command, "--farm", "home")
    said = (answer.out + answer.err).lower()
    assert "king_oyster" not in said
    assert "king oyster" in said


@pytest.mark.usefixtures("kings")
def test_pages_and_calendar_show_the_name_of_a_species(spawnrun: Spawnrun) -> None:
    for command in ("report", "calendar"):
        assert spawnrun(command, "--farm", "home").code == 0
    for name in ("report.html", "calendar.ics"):
        text = re.sub(r"\r?\n ", "", (Path("home") / name).read_text("utf-8"))
        assert "king_oyster" not in text
        assert "king oyster" in text.lower()
