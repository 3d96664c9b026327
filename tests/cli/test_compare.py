"""`spawnrun compare`: as table, as data, as a picture."""

import json
from pathlib import Path

from tests.cli.conftest import Spawnrun


def test_groups_as_table_data_and_picture(spawnrun: Spawnrun, week: Path) -> None:
    asked = ("compare", "--by", "batch", "--farm", "home")
    groups = json.loads(spawnrun(*asked, "--format", "json").out)
    assert [(one["kind"], one["used_for"], one["group"], one["vessels"]) for one in groups] == [
        ("jar", "spawn", "SECOND", 1),
        ("bag", "spawn", "FIRST", 1),
        ("bag", "fruiting", "FIRST", 1),
    ]
    said = spawnrun(*asked, "--plot", "groups.svg")
    assert "cannot be told apart" in said.out
    assert "0 of 1" in said.out
    assert f"{groups[1]['days']:.1f}" in said.out
    assert "% a day at its steepest" in Path("groups.svg").read_text() or Path("groups.svg").stat().st_size > 5000
    assert spawnrun(*asked, "--plot", "groups.gif").code == 2
    assert "no vessel has a source noted" in spawnrun("compare", "--by", "source", "--farm", "home").out
