"""Changes since an earlier time, on a farm with painted photos."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from farm.lists import Change, batch_views, changes_since, day_before, list_today
from farm.measure import measure_paths
from farm.outlook import bring_up_to_date
from farm.records import close_vessel, closed_since, import_vessels, moment
from farm.store import Farm, to_instant
from tests.farm.painted import paint
from tests.values import known

DAYS = ((3, 2, 3, 0), (6, 30, 20, 0), (8, 62, 35, 0), (10, 88, 45, 0), (12, 99, 50, 6))


@pytest.fixture
def shelf(farm: Farm, vessels_csv: Path, tmp_path: Path, vision) -> Farm:
    import_vessels(farm, vessels_csv)
    for day, first, second, green in DAYS:
        spotted = ("B002", second, green) if green else ("B002", second)
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", first), spotted)
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    return farm.at(to_instant(moment("2026-03-12T20:00"), farm.zone))


def changed(farm: Farm, since: datetime) -> list[Change]:
    now, then = (list_today(one, bring_up_to_date(one)) for one in (farm, farm.at(since)))
    return changes_since(farm, now, then, since)


def test_the_day_before_is_24_hours_earlier(shelf: Farm) -> None:
    assert day_before(shelf) == shelf.now - timedelta(days=1)


def test_new_suspects_come_first(shelf: Farm) -> None:
    first, *others = changed(shelf, day_before(shelf))
    assert (first.what, first.vessel.id) == ("look", "B002")
    assert (known(first.before).percent, known(first.now).percent) == (45, 50)
    assert [one.subject for one in first.fresh] == ["green"]
    assert "B001" in {one.vessel.id for one in others}
    assert "J001" not in {one.vessel.id for one in others}, "no photo of it, and its day stayed"


def test_what_was_closed_since_is_known_as_it_was_then(shelf: Farm) -> None:
    close_vessel(shelf, "B001", at=shelf.now - timedelta(hours=5))
    close_vessel(shelf, "B002", state="contaminated", at=shelf.now - timedelta(hours=1))

    def closed(farm: Farm, hours: float) -> list[str]:
        return [one.id for one in closed_since(farm, shelf.now - timedelta(hours=hours))]

    assert [closed(shelf, hours) for hours in (6, 3, 0.5)] == [["B001", "B002"], ["B002"], []]
    assert closed(shelf.as_known_at(shelf.now - timedelta(hours=2)), 6) == ["B001"]


def test_nothing_changed_in_an_hour(shelf: Farm) -> None:
    assert changed(shelf, shelf.now - timedelta(hours=1)) == []


def test_new_closed_and_contaminated_vessels_are_reported(shelf: Farm, tmp_path: Path) -> None:
    table = tmp_path / "more.csv"
    table.write_text("id,kind,inoculated\nN001,jar,2026-03-12T12:00\n")
    import_vessels(shelf, table)
    close_vessel(shelf, "B001")
    close_vessel(shelf, "B002", state="contaminated")
    told = {(one.what, one.vessel.id) for one in changed(shelf, day_before(shelf))}
    assert {("closed", "B001"), ("out", "B002"), ("new", "N001")} <= told


def test_a_batch_at_a_glance(shelf: Farm) -> None:
    close_vessel(shelf, "B002", state="contaminated")
    first, second = batch_views(shelf, list_today(shelf, bring_up_to_date(shelf)))
    assert (first.batch, first.n_vessels, len(first.items), first.n_contaminated) == ("FIRST", 2, 1, 1)
    assert (first.percent, first.sources, first.kinds) == ((99, 99, 99), ("JAR-1",), ("bag",))
    assert (second.batch, second.percent, second.species) == ("SECOND", None, ("oyster",))
    assert sum(second.sections.values()) == 1
