"""What hangs from a contaminated vessel, and dates that no descent can have."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from farm.lists import sort_into_sections
from farm.outlook import list_outlooks
from farm.records import add_vessels, close_vessel, contaminated_sources, import_vessels, list_vessels, made_from
from farm.records.models import Vessel
from farm.store import Farm

START = datetime(2026, 3, 1, 8, tzinfo=UTC)


def line(farm: Farm) -> Farm:
    """A plate, its jar (closed: used up), the jar's two bags, a block from one of them; and a jar of nothing."""
    add_vessels(
        farm, [Vessel("P1", "plate", START), Vessel("J1", "jar", START, source="p1"), Vessel("J2", "jar", START)]
    )
    add_vessels(farm, [Vessel("B1", "bag", START, source="J1"), Vessel("B2", "bag", START, source=" j1 ")])
    add_vessels(farm, [Vessel("K1", "block", START, source="B1")])
    close_vessel(farm, "J1")
    return farm.at(START + timedelta(days=3))


def test_what_was_made_from_a_vessel_is_found_over_all_generations(farm: Farm) -> None:
    grow = line(farm)
    assert [one.id for one in made_from(list_vessels(grow), ["P1"])] == ["B1", "B2", "J1", "K1"]
    assert [one.id for one in made_from(list_vessels(grow), ["B1", "B2"])] == ["K1"]
    assert made_from(list_vessels(grow), ["J2"]) == []


def test_what_came_from_a_contaminated_vessel_is_marked_on_the_list(farm: Farm) -> None:
    grow = line(farm)
    assert contaminated_sources(list_vessels(grow)) == {}
    close_vessel(grow, "P1", state="contaminated")
    assert contaminated_sources(list_vessels(grow)) == dict.fromkeys(["J1", "B1", "B2", "K1"], "P1")
    close_vessel(grow, "B1", state="quarantined")
    assert contaminated_sources(list_vessels(grow))["K1"] == "B1"
    marks = {one.outlook.vessel.id: one.marks[-1] for one in sort_into_sections(grow, list_outlooks(grow), [])}
    assert marks["B2"] == "P1, which it came from, was contaminated: look closely"
    assert "contaminated" not in marks["J2"]


def test_a_circle_of_sources_ends(farm: Farm) -> None:
    add_vessels(farm, [Vessel("A", "jar", START, source="B"), Vessel("B", "jar", START, source="A")])
    add_vessels(farm, [Vessel("C", "jar", START)])
    close_vessel(farm, "C", state="contaminated")
    assert contaminated_sources(list_vessels(farm)) == {}
    assert [one.id for one in made_from(list_vessels(farm), ["A"])] == ["B"]


def test_a_vessel_older_than_its_source_is_told_by_line(farm: Farm, tmp_path: Path) -> None:
    """It is taken in: which of the two dates is wrong, only the grower knows."""
    table = tmp_path / "vessels.csv"
    table.write_text(
        "vessel,kind,inoculated,source\nJ1,jar,2026-03-05,culture 7\nB1,bag,2026-03-02,j1\nB2,bag,2026-03-05,J1\n",
        "utf-8",
    )
    count = import_vessels(farm.at(START + timedelta(days=9)), table)
    assert count.added == 3
    older = "B1 of Mon 2 Mar 2026 is older than its source J1 of Thu 5 Mar 2026: check both dates"
    assert count.odd_dates == (f"line 3, column inoculated: {older}",)
