"""A round of the shelves, by photos painted for it: who was seen today, who was not, who need not be."""

from datetime import timedelta
from pathlib import Path

from farm.lists import seen_today, shelf_round
from farm.measure import measure_paths
from farm.records import add_events, get_vessel, list_vessels, moment, move_vessels
from farm.store import Farm, to_instant
from tests.farm.painted import paint, painted_vision
from tests.report.conftest import shelf as shelf


def photographed(farm: Farm, folder: Path, day: str, *vessels: tuple[str, int]) -> None:
    paint(folder / f"{day}.png", *vessels)
    measure_paths(farm, [folder / f"{day}.png"], vision=painted_vision())


def rounds(farm: Farm) -> list[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    return [(one.shelf, one.seen, one.missing) for one in shelf_round(farm, list_vessels(farm))]


def test_a_round_names_what_was_seen_and_what_is_missing(shelf: Farm, tmp_path: Path) -> None:
    move_vessels(shelf, ["B001", "B002"], "A1")
    farm = shelf.at(to_instant(moment("2026-03-13T20:00"), shelf.zone))
    assert rounds(farm) == [("A1", (), ("B001", "B002")), ("", (), ("B003",))]
    photographed(farm, tmp_path, "20260313_0900", ("B002", 51))
    assert rounds(farm) == [("A1", ("B002",), ("B001",)), ("", (), ("B003",))]
    assert seen_today(farm) == {"B002"}


def test_today_is_that_of_the_farms_clock(shelf: Farm, tmp_path: Path) -> None:
    photographed(shelf, tmp_path, "20260313_0001", ("B001", 99))
    photographed(shelf, tmp_path, "20260312_2359", ("B003", 91))
    late = to_instant(moment("2026-03-13T00:30"), shelf.zone)
    assert seen_today(shelf.at(late)) == {"B001"}
    assert seen_today(shelf.at(late - timedelta(hours=1))) == {
        "B001",
        "B002",
        "B003",
    }  # the fixture's photo of 12 March
    assert seen_today(shelf.at(late + timedelta(days=1))) == set()


def test_what_fruits_or_is_closed_is_photographed_no_more(shelf: Farm) -> None:
    farm = shelf.at(to_instant(moment("2026-03-13T20:00"), shelf.zone))
    add_events(farm, [get_vessel(farm, "B001")], "opened", farm.now)
    assert rounds(farm) == [("", (), ("B002", "B003"))]
