"""Names of shelves: written in several ways, one shelf."""

import json
from pathlib import Path

import pytest
from sqlalchemy import update

from farm.records import list_vessels
from farm.store import open_farm
from farm.store.schema import vessels
from tests.cli.conftest import Spawnrun

FARM = ("--farm", "home")


@pytest.fixture
def shelf(spawnrun: Spawnrun) -> None:
    """Three vessels of a batch on one shelf, each with another spelling of its name; B009 on another one."""
    spawnrun("init", "home")
    new = ("--kind", "bag", "--species", "oyster", "--inoculated", "2026-03-02", "--batch", "A", *FARM)
    spawnrun("vessel", "add", "B001", "--shelf", "  Warm   Shelf ", *new)
    spawnrun("vessel", "add", "B002", "--shelf", "warm shelf", *new)
    spawnrun("vessel", "add", "B003", *new)
    spawnrun("vessel", "add", "B009", "--shelf", "Cellar", *new)
    assert spawnrun("vessel", "move", "B003", "--shelf", "WARM SHELF", *FARM).out == "B003: on shelf Warm Shelf\n"


@pytest.mark.usefixtures("shelf")
def test_one_shelf_has_one_name(spawnrun: Spawnrun) -> None:
    with open_farm(Path("home")) as farm:
        assert [one.shelf for one in list_vessels(farm)] == ["Warm Shelf"] * 3 + ["Cellar"]
    (due,) = [row for row in spawnrun("ready", "--as-of", "2026-03-20", *FARM).out.splitlines() if "Warm Shelf" in row]
    assert "B001..B003" in due
    shared = json.loads(spawnrun("trace", "B001", "--format", "json", *FARM).out)
    assert "Warm Shelf" in json.dumps(shared)
    assert "WARM SHELF" not in json.dumps(shared)


@pytest.mark.usefixtures("shelf")
def test_records_of_an_older_version_with_two_spellings_show_the_first(spawnrun: Spawnrun) -> None:
    with open_farm(Path("home")) as farm, farm.writing() as connection:
        connection.execute(update(vessels).where(vessels.c.id == "B002").values(shelf=" warm  SHELF"))
    with open_farm(Path("home")) as farm:
        assert [one.shelf for one in list_vessels(farm)] == ["Warm Shelf"] * 3 + ["Cellar"]


@pytest.mark.usefixtures("shelf")
def test_the_list_shows_and_chooses_the_shelf(spawnrun: Spawnrun) -> None:
    said = spawnrun("vessel", "list", "--shelf", "warm  shelf", *FARM).out
    assert said.count("Warm Shelf") == 3
    assert "B009" not in said
    assert "no vessels on shelf attic" in spawnrun("vessel", "list", "--shelf", "attic", *FARM).out


@pytest.mark.usefixtures("shelf")
def test_an_empty_name_is_refused_and_a_shelf_taken_away(spawnrun: Spawnrun) -> None:
    refused = spawnrun("vessel", "move", "B001", "--shelf", "  ", *FARM)
    assert refused.code == 2
    assert "a shelf needs a name; `spawnrun vessel move VESSELS --no-shelf`" in refused.err
    assert spawnrun("vessel", "move", "B001", *FARM).code == 2
    assert spawnrun("vessel", "move", "B001", "--no-shelf", *FARM).out == "B001: on no shelf\n"
    with open_farm(Path("home")) as farm:
        assert list_vessels(farm)[0].shelf == ""
