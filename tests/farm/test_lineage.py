"""Lineage as a tree: plate to jar to bags to blocks, one making ten."""

from datetime import UTC, datetime

import pytest

from farm.records import add_vessels, close_vessel, get_vessel, list_vessels
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import InputFileError
from farm.study import Branch, lineage_tree

START = datetime(2026, 3, 1, tzinfo=UTC)


def vessel(name: str, kind: str, source: str) -> Vessel:
    return Vessel(name, kind, START, source=source)


@pytest.fixture
def line(farm: Farm) -> Farm:
    add_vessels(farm, [vessel("P1", "plate", "culture 7"), vessel("P2", "plate", "Culture 7")])
    add_vessels(farm, [vessel(f"J{n}", "jar", "P1") for n in range(10)])
    add_vessels(farm, [vessel(f"B{n}", "bag", "j0") for n in range(10)])
    add_vessels(farm, [vessel(f"K{n}", "block", "B3") for n in range(4)])
    return farm


def names(branch: Branch) -> list[str]:
    return [branch.name, *(name for child in branch.children for name in names(child))]


def test_ancestors_and_descendants(line: Farm) -> None:
    tree = lineage_tree(line, "b3")
    assert names(tree) == ["culture 7", "P1", "J0", "B3", "K0", "K1", "K2", "K3"]
    assert (tree.vessel, tree.others) == (None, 1)
    plate = tree.children[0]
    assert (plate.others, plate.children[0].others) == (9, 9)
    asked = plate.children[0].children[0]
    assert (asked.asked, asked.others, tree.asked) == (True, 0, False)


def test_lineage_of_one_plate_ten_jars_and_ten_bags_each(line: Farm) -> None:
    tree = lineage_tree(line, "P1")
    jars = tree.children[0].children
    assert len(jars) == 10
    assert len(jars[0].children) == 10
    assert len(jars[0].children[3].children) == 4


def test_contaminated_vessels_are_marked(line: Farm) -> None:
    close_vessel(line, "J0", state="contaminated")
    assert lineage_tree(line, "B3").children[0].children[0].contaminated


def test_a_circular_lineage_ends(farm: Farm) -> None:
    add_vessels(farm, [vessel("A", "jar", "B"), vessel("B", "jar", "A")])
    assert set(names(lineage_tree(farm, "A"))) == {"A", "B"}


def test_vessels_are_added_all_or_none(line: Farm) -> None:
    with pytest.raises(InputFileError, match="K3 is in the farm already"):
        add_vessels(line, [vessel("K9", "block", "B3"), vessel("K3", "block", "B3")])
    assert "K9" not in {one.id for one in list_vessels(line)}
    assert get_vessel(line, "K3").source == "B3"
