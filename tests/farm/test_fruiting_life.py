"""Flushes worked out from harvests, when the next is due, and what today's list, its changes and weeks say of it."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.fruiting import flushes_of, fruiting_lives, record_harvest, usual_days
from farm.lists import changes_since, list_today, new_since, tasks_by_shelf, tasks_of, weeks_ahead
from farm.outlook import list_outlooks
from farm.records import add_event, add_vessels, chosen_vessels, import_events, list_events, list_vessels, mark_done
from farm.records.models import Harvest, Vessel
from farm.store import Farm, days_between

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
OPENED = START + timedelta(days=20)
#: Of oyster in the species table: days from opened to the first harvest, from pins, between flushes; flushes.
FIRST, PINS, BETWEEN, FLUSHES = 7, 5, 7.5, 3


def on(day: float) -> datetime:
    """A moment so many days after the blocks were opened."""
    return OPENED + timedelta(days=day)


@pytest.fixture
def blocks(farm: Farm) -> Farm:
    made = [Vessel(f"K00{n}", "block", START, "oyster", "sawdust", batch="ONE", shelf="F1") for n in range(1, 7)]
    add_vessels(farm, made)
    mark_done(farm, made[:4], OPENED)
    return farm.at(on(2))


def pick(farm: Farm, vessel: str, day: float, kg: float = 0.5, flush: int | None = None) -> None:
    record_harvest(farm.at(on(day)), chosen_vessels(farm, [vessel]), kg, on(day), flush=flush)


@pytest.mark.parametrize(
    ("days", "flushes"),
    [
        ([0], [1]),
        ([0, 1, 3], [1, 1, 1]),
        ([0, 1, 8, 9, 16], [1, 1, 2, 2, 3]),
        # Half of the 7.5 days between flushes passed without a harvest, or just not.
        ([0, 3.7], [1, 1]),
        ([0, 3.8], [1, 2]),
        # Picked every other day: after 7.5 days the next flush has begun, though no pause shows it.
        ([0, 2, 4, 6, 8, 10], [1, 1, 1, 1, 2, 2]),
    ],
)
def test_harvests_close_together_are_one_flush(days: list[float], flushes: list[int]) -> None:
    harvests = [Harvest("K001", on(day), 0.25) for day in days]
    found = flushes_of(list(reversed(harvests)), BETWEEN)
    assert [one.number for one in found for _ in range(one.n_harvests)] == flushes
    assert sum(one.fresh_kg for one in found) == 0.25 * len(days)


def test_a_number_that_was_said_holds_and_later_harvests_count_on_from_it() -> None:
    said = Harvest("K001", on(1), 0.5, flush=2)
    found = flushes_of([Harvest("K001", on(0), 0.3), said, Harvest("K001", on(9), 0.1)], BETWEEN)
    assert [(one.number, one.fresh_kg) for one in found] == [(1, 0.3), (2, 0.5), (3, 0.1)]


def stage(farm: Farm, day: float) -> tuple[str, int, float | None]:
    """Of K001: its stage, the next flush, and on which day after it was opened that is due."""
    life = fruiting_lives(farm.at(on(day)), list_vessels(farm))["K001"]
    return life.stage, life.next_flush, None if life.due_at is None else days_between(OPENED, life.due_at)


def test_the_life_of_a_block_from_opened_to_past_its_flushes(blocks: Farm) -> None:
    assert stage(blocks, 2) == ("waiting", 1, FIRST)
    add_event(blocks.at(on(4)), "K001", "pins", on(3))
    assert stage(blocks, 4) == ("pins", 1, 3 + PINS)
    assert stage(blocks, 8) == ("due", 1, 3 + PINS)
    assert stage(blocks, 15) == ("due", 1, 3 + PINS)
    assert stage(blocks, 16) == ("late", 1, 3 + PINS)
    pick(blocks, "K001", 9)
    pick(blocks, "K001", 10)
    assert stage(blocks, 10.5) == ("resting", 2, 9 + BETWEEN)
    assert stage(blocks, 17) == ("due", 2, 9 + BETWEEN)
    pick(blocks, "K001", 17)
    pick(blocks, "K001", 25)
    assert stage(blocks, 26) == ("resting", 4, 25 + BETWEEN)
    assert stage(blocks, 33) == ("past", 4, 25 + BETWEEN)
    assert stage(blocks, 60)[0] == "past"
    add_event(blocks.at(on(34)), "K001", "pins", on(34))
    assert stage(blocks, 35) == ("pins", 4, 34 + PINS)


def test_it_is_due_from_the_morning_of_the_day(blocks: Farm) -> None:
    """Opened at 8 o'clock; on the day of the first harvest it is due from midnight of the farm's clock."""
    (blocks.folder / "farm.toml").write_text('time_zone = "UTC"\n', "utf-8")
    assert stage(blocks, FIRST - 0.5)[0] == "waiting"
    assert stage(blocks, FIRST - 0.2)[0] == "due"


def test_a_vessel_that_was_never_opened_fruits_by_its_first_harvest(blocks: Farm) -> None:
    pick(blocks, "K006", 4)
    lives = fruiting_lives(blocks.at(on(5)), list_vessels(blocks))
    assert (lives["K006"].opened_at, lives["K006"].since, lives["K006"].next_flush) == (None, on(4), 2)
    assert "K005" not in lives


def test_of_enough_harvests_the_days_of_the_farm_are_used(blocks: Farm) -> None:
    mark_done(blocks, chosen_vessels(blocks, ["K005", "K006"]), OPENED)
    for n, first in enumerate((9, 10, 11, 12), start=1):
        pick(blocks, f"K00{n}", first)
        pick(blocks, f"K00{n}", first + 9)
    later = blocks.at(on(30))
    days = usual_days(later, ["oyster"])["oyster"]
    assert (days.to_first.value, days.between.value) == (FIRST, BETWEEN)
    assert "Shnyreva" in days.between.source
    pick(blocks, "K005", 14)
    pick(blocks, "K005", 25)
    days = usual_days(later, ["oyster", "Pleurotus ostreatus", "shiitake"])["oyster"]
    assert (days.to_first.value, days.between.value) == (11, 9)
    assert days.between.source == "this farm: middle of 5"
    # K006, opened as the others, is due by what they took.
    assert fruiting_lives(blocks.at(on(15)), list_vessels(blocks))["K006"].due_at == on(11)


def items(farm: Farm, day: float) -> dict[str, tuple[str, str, tuple[str, ...]]]:
    found = list_today(farm.at(on(day)), list_outlooks(farm.at(on(day))))
    return {one.outlook.vessel.id: (one.section, one.action, one.marks) for one in found}


def test_the_list_says_what_is_to_be_picked_and_when(blocks: Farm) -> None:
    assert items(blocks, 2)["K001"] == (
        "fruiting",
        "",
        ("fruits since Sat 21 Mar 2026: flush 1 about Sat 28 Mar 2026",),
    )
    pick(blocks, "K002", 7)
    for day in (15, 23):
        pick(blocks, "K003", day)
    pick(blocks, "K003", 7)
    assert items(blocks, 9)["K001"] == ("harvest", "harvest flush 1", ("flush 1 due since Sat 28 Mar 2026",))
    now = items(blocks, 32)
    assert now["K001"] == (
        "harvest",
        "note what was picked, or that it is spent",
        ("flush 1 due since Sat 28 Mar 2026",),
    )
    assert now["K003"] == (
        "harvest",
        "look for more, or note it as spent",
        ("3 flushes picked, as is usual; the last on Mon 13 Apr 2026",),
    )
    # Not opened: as any other block without a reading.
    assert now["K006"][0] in ("due", "unknown")


def test_no_photo_is_asked_for_of_what_fruits(blocks: Farm) -> None:
    for day in (2, 8, 40):
        for vessel in ("K001", "K002", "K003", "K004"):
            said = " ".join((items(blocks, day)[vessel][1], *items(blocks, day)[vessel][2]))
            assert "photo" not in said
    assert "take a photo" in items(blocks, 40)["K005"][1]


def test_vessels_with_the_same_flush_due_on_a_shelf_are_one_task(blocks: Farm) -> None:
    pick(blocks, "K004", 6.5)
    found = list_today(blocks.at(on(14)), list_outlooks(blocks.at(on(14))))
    due = [one for one in tasks_of(found) if one.section == "harvest"]
    assert [(one.action, one.ids, one.percent) for one in due] == [
        ("harvest flush 1", ("K001", "K002", "K003"), None),
        ("harvest flush 2", ("K004",), None),
    ]
    assert due[0].ready == (on(FIRST), on(FIRST))
    assert [one.action for one in tasks_by_shelf(found)["F1"]][:2] == ["harvest flush 1", "harvest flush 2"]


def test_changes_tell_what_became_due_and_what_was_picked(blocks: Farm) -> None:
    before = blocks.as_known_at(on(6))
    earlier = list_today(before, list_outlooks(before))
    pick(blocks, "K002", 6.5, 0.75)
    now = blocks.at(on(8))
    changes = changes_since(now, list_today(now, list_outlooks(now)), earlier, on(6))
    told = {one.vessel.id: (one.what, one.picked_kg) for one in changes}
    assert told == {"K001": ("pick", 0), "K003": ("pick", 0), "K004": ("pick", 0), "K002": ("picked", 0.75)}
    new = new_since(now, list_today(now, list_outlooks(now)), on(6))
    assert (new.harvested, new.picked_kg) == (1, 0.75)


def test_weeks_ahead_count_what_is_to_be_picked(blocks: Farm) -> None:
    pick(blocks, "K002", 6.5)
    now = blocks.at(on(8))
    weeks = weeks_ahead(now, list_today(now, list_outlooks(now)))
    assert {one.day.isoformat(): one.n_to_pick for week in weeks for one in week if one.n_to_pick} == {
        "2026-03-29": 3,
        "2026-04-04": 1,
    }


def test_pins_and_harvests_later_than_the_moment_asked_for_do_not_count(blocks: Farm) -> None:
    add_event(blocks.at(on(30)), "K001", "pins", on(3))
    assert stage(blocks, 2) == ("waiting", 1, FIRST)
    record_harvest(blocks.at(on(30)), chosen_vessels(blocks, ["K002"]), 1.0, on(9))
    assert fruiting_lives(blocks.at(on(8)), list_vessels(blocks))["K002"].flushes == ()


def test_what_is_to_be_picked_today_comes_before_what_is_late_or_past(blocks: Farm) -> None:
    for day in (7, 15, 23):
        pick(blocks, "K003", day)
    for vessel, picked in (("K002", 29.5), ("K004", 28.0)):
        pick(blocks, vessel, picked)
    now = blocks.at(on(37))
    found = [one for one in list_today(now, list_outlooks(now)) if one.section == "harvest"]
    stages = [(one.outlook.vessel.id, one.fruiting.stage) for one in found if one.fruiting]
    assert stages == [("K004", "due"), ("K002", "due"), ("K001", "late"), ("K003", "past")]


def test_a_table_of_events_takes_what_is_used_up_off_the_lists(blocks: Farm, tmp_path: Path) -> None:
    table = tmp_path / "events.csv"
    table.write_text(
        f"vessel,event,at,why\nK001,Thrown out,{on(3).isoformat()},mould\nK002,pins,2026-03-22,\n", "utf-8"
    )
    later = blocks.at(on(9))
    for _ in range(2):
        import_events(later, table)
        states = {one.id: (one.state, one.closed_at) for one in list_vessels(later)}
        assert states["K001"] == ("closed", on(3))
        assert states["K002"] == ("running", None)
    assert [one.why for one in list_events(later, ["K001"]) if one.event == "thrown_out"] == ["mould"]


def test_numbers_said_out_of_order_do_not_move_the_day_of_the_next_flush(blocks: Farm) -> None:
    pick(blocks, "K001", 7, flush=2)
    pick(blocks, "K001", 16, flush=1)
    assert stage(blocks, 17) == ("resting", 2, 16 + BETWEEN)


@given(st.lists(st.integers(0, 24 * 120), min_size=1, max_size=30, unique=True), st.floats(2.0, 60.0))
def test_flushes_keep_all_the_weight_and_never_overlap(hours: list[int], between_days: float) -> None:
    found = flushes_of([Harvest("K001", OPENED + timedelta(hours=hour), 0.5) for hour in hours], between_days)
    assert [one.number for one in found] == list(range(1, len(found) + 1))
    assert sum(one.fresh_kg for one in found) == pytest.approx(0.5 * len(hours))
    for one, later in pairwise(found):
        assert one.last_at < later.first_at
        assert days_between(one.last_at, later.first_at) > between_days / 2 or (
            days_between(one.first_at, later.first_at) >= between_days
        )
    assert all(days_between(one.first_at, one.last_at) < between_days for one in found)
