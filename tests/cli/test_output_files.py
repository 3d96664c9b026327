"""Files that a command is asked to write: only into folders that are there, with an ending that says what they are."""

from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun


@pytest.mark.parametrize(
    "command",
    [
        ("ready", "--print", "not/there/x.pdf"),
        ("calendar", "--out", "not/there/x.ics"),
        ("report", "--out", "not/there/x.html"),
        ("labels", "--out", "not/there/x.pdf"),
        ("export", "--out", "not/there/tables"),
        ("backup", "not/there/x.zip"),
        ("curve", "B001", "--plot", "not/there/x.png"),
        ("compare", "--plot", "not/there/x.png"),
    ],
)
def test_a_missing_folder_is_named_and_not_made(spawnrun: Spawnrun, week: Path, command: tuple[str, ...]) -> None:
    outcome = spawnrun(*command, "--farm", "home")
    assert outcome.code == 2
    assert "there is no folder not/there; make it first" in outcome.err
    assert not Path("not").exists()


def test_a_folder_that_is_the_output_is_made(spawnrun: Spawnrun, week: Path) -> None:
    assert spawnrun("export", "--out", "tables", "--farm", "home").code == 0
    assert Path("tables/vessels.csv").is_file()


@pytest.mark.parametrize("command", [("ready", "--print", "list.txt"), ("labels", "--out", "list.txt")])
def test_what_is_a_pdf_is_called_so(spawnrun: Spawnrun, week: Path, command: tuple[str, ...]) -> None:
    outcome = spawnrun(*command, "--farm", "home")
    assert outcome.code == 2
    assert "list.txt: the name must end in .pdf" in outcome.err
    assert not Path("list.txt").exists()
